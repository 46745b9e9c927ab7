"""Which side of a solid is laid up, what is odd about it, and how large it is at a height over the drawn one."""
