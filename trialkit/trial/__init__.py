"""The trial folder: what it holds, how it is checked, how it is written."""
