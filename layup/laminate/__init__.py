"""Cured plies, processes, and the mechanics of laminates."""
