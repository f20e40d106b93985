"""Writes about guest tests, one transaction each."""
