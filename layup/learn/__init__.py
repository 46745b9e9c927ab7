"""What did the scale say, why, and what does it teach about the shop."""
