"""The second engine, and what is made of its opinion."""
