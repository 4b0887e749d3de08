"""Steps of the layout."""
