"""What the pages of a table under way show."""
