"""The Django project: apps in the order of the roaster's work."""
