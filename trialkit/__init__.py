"""Find out on your own farm whether dressing seed with biological products pays."""
