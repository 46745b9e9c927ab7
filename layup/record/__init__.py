"""What the shop has weighed, and what that does to the aircraft."""
