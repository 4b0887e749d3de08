"""What was done, what was left, and what the road is like now."""
