"""What the agency keeps: Django models, and the one module that turns rows into nouns."""
