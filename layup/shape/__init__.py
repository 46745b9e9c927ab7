"""What does a surface measure, and which parts of it are meant: its mesh, its zones, its holes."""
