"""All that the pages about tables show, worked out before a template sees it."""
