"""Benchmarks: one file per question. ``make bench`` runs all, ``python -m bench NAME`` some."""
