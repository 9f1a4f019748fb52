"""How well and how fast the shipped model hears."""
