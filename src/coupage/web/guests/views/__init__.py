"""Views of guest tests, one domain call each."""
