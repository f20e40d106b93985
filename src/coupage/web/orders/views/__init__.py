"""Pages about customers and orders: one domain call each."""
