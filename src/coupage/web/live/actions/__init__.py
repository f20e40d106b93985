"""Writes of a table under way."""
