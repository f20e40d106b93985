"""Pages of a table under way: joining, the taster's sheet, the host's screen, the wall."""
