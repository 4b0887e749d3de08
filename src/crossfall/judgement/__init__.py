"""What state the surface is in, what each road needs, and what may be done on it when."""
