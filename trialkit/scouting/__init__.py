"""Counts, frost and scores through the season."""
