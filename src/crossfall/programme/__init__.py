"""Years ahead: what gravel is lost and what money buys."""
