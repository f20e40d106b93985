"""Pages about briefs, blends and recipes: one domain call each."""
