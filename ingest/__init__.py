"""Bytes to one trusted Log, and the season folder. Imports nothing of `analysis` or `dashboard`."""
