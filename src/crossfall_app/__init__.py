"""The doors: store, pages, command line."""
