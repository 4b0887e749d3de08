"""Which machine works which road on which day, in which order and direction."""
