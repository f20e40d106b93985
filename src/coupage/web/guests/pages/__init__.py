"""Everything that one page about guest tests shows."""
