"""Everything that the pages about plans show."""
