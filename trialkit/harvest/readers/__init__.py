"""Readers of harvest logs: foreign names and units stop here."""
