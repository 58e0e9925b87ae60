"""Confirm a verdict in exact arithmetic, by code that shares none with the geometry of the check."""
