"""Dressing the seed and sowing it without spoiling the trial."""
