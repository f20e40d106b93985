"""Writes about tables, samples, ratings, tasters and what stands behind them."""
