"""Coupage: design, check and keep a coffee blend."""

__version__ = "0.1.0"
