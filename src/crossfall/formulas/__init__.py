"""The workshop: one module for each physical topic; arrays in, arrays out; no clock, no files."""
