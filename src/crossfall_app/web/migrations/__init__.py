"""Changes of the sign-in table, in order."""
