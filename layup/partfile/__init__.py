"""What did the builder write, and does it hold: the part file read with every fault told."""
