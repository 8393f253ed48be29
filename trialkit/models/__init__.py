"""Mixed models with honest error: a data frame in, estimates out."""
