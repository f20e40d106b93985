"""All that the pages about briefs, blends and recipes show, one module a page."""
