"""The room that draws: cards, plans and maps for paper and screen."""
