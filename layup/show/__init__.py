"""How results are shown: the terminal, tables for scripts, pictures."""
