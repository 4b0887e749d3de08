"""One module for each page: parse, one call, render."""
