"""The project's colours, declared once: told apart by colour-blind readers and, by lightness, in grey print."""

from __future__ import annotations

INK = "#1c2733"
"""Text and outlines."""
QUIET = "#66727d"
"""Secondary text, axes, grids."""
PAPER = "#ffffff"
PALE = "#e9edf0"
"""Fills behind things."""
PART = "#0f5a78"
"""The part itself, and the process chosen."""
OTHER = "#8fb3c2"
"""Processes not chosen."""
OLD = "#b5502b"
"""What is replaced."""
ZONES = ("#e0a431", "#7a9a3b", "#8a5a9e", "#3f8f7f", "#c2678c")
"""Zones, in the order of the file."""
SHARES = ("#0f5a78", "#5f9bb3", "#a9cad6", "#e0a431", "#9aa5ad", "#c9b48a", "#55606a")
"""What the weight is made of: fibre, resin in the plies, on faces, at cores, core, finish, extras."""
HATCHES = ("", "//", "..", "\\\\", "xx", "--", "++")
"""One to each share, for grey print."""
