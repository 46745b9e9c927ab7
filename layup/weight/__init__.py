"""What will the part weigh, within what limits, and what does it save."""
