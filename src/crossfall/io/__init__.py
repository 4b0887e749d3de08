"""The rooms that read and write files."""
