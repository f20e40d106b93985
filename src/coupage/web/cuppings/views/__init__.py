"""Pages about tables: one domain call each."""
