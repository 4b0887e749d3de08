"""The cab: phones paired with a machine, what they tell, and what the foreman makes of it."""
