"""Pages about plans."""
