"""How does cloth lie on the part, and what is its flat shape."""
