"""Doors of the cab: what phones ask, the page they get, and the office's side of it."""
