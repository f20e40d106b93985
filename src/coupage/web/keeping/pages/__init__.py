"""All that the pages about keeping a coffee the same show."""
