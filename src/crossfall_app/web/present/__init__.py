"""From nouns to words and figures for a page: units, colours by name, no judgement."""
