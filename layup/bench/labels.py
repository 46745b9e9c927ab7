"""The part file's words as this page says them: labels for its keys, and faults that point at fields and buttons.

A fault is worded for a person with the file in an editor ("add a [[ply]] table"); on the page there is none to write.
"""

from __future__ import annotations

import re

LABELS = {
    "mesh": "File of the surface", "step": "File of the solid", "outline": "File of the drawing",
    "photo": "Photograph", "rectangle": "Two sides", "stations": "Widths at stations", "girths": "Girths at stations",
    "area": "Area", "unit": "Unit of its numbers", "side": "Side laid up", "body": "Which solid of the file",
    "face": "Which faces of the solid", "warp": "Way the warp runs", "drape": "Cloth sheared as it lies",
    "start": "Where the cloth is laid first", "pick": "Which outline of the drawing", "cut": "Layers cut out",
    "gap": "Loose ends joined up to", "fill": "Gaps of a scan filled up to",
    "bar": "Printed bar as measured", "bar_along": "Bar along the feed, as measured",
    "turn": "Turned by", "along": "Seen along", "rule": "Between stations", "edge": "Length of the edge",
    "area_tolerance": "Area known to", "mould": "Mould", "drawn": "Side that was drawn",
    "angle": "Angle", "count": "How many", "zone": "Where", "bevel": "Slope at the core's edge, degrees",
    "overlap": "Overlap at a joint", "seam": "Length of joints",
    "fibre_volume_fraction": "Fibre, by volume", "resin_content": "Resin, by weight", "covers": "Covers",
    "within": "Within", "between": "Between", "inside": "Inside the outline", "group": "Group in the file",
    "or": "Or in zone", "and": "And in zone", "not": "But not in zone",
    "weighed": "Weight on the scale", "mass": "Weight", "each": "Weight of one", "per_length": "Weight by the length",
    "filler": "Filler", "radius": "Radius of the fillet", "depth": "Filled so deep",
    "length": "Length", "areal_weight": "Weight by the area", "times": "How many times", "arm": "Arm from the datum",
    "at": "Where it sits", "coats": "Coats", "sides": "Sides", "name": "Name", "process": "Process", "resin": "Resin",
    "sheet": "Sheet", "covering": "Covering", "fabric": "Cloth", "core": "Core", "finish": "Finish",
    "thickness": "Thickness", "diameter": "Diameter", "pitch": "From hole to hole", "first": "First hole at",
    "columns": "Columns", "rows": "Rows", "staggered": "Every second row shifted", "centre": "Middle at",
    "ring": "Diameter of the ring", "file": "File", "layer": "Layer of the drawing", "largest": "Largest hole taken",
    "match": "Which goes with which", "margin": "At least from the edge",
    "mirror": "Other hand", "forward": "Forward is", "up": "Up is",
    "title": "Name", "units": "Weights in", "vacuum": "Vacuum", "altitude": "Shop's altitude",
    "trim": "Laid up beyond the edge", "stack": "Layup in short",
}  # fmt: skip
"""Keys of a part file, and what the page calls their fields."""
OF_TABLE = {
    ("fasteners", "rule"): "Rule of spacing",
    ("fasteners", "edge"): "To the edge at least, in diameters",
    ("fasteners", "pitch"): "Apart at least, in diameters",
    ("fasteners", "within"): "Must fit within",
}
"""The same key, called otherwise in a table."""
TABLES = {
    "ply": "Plies",
    "zone": "Zones",
    "holes": "Holes and fasteners",
    "fasteners": "Holes and fasteners",
    "replaces": "What comes off",
    "finish": "Finish and fittings",
    "extra": "Finish and fittings",
    "surface": "Surface",
    "limits": "Limits",
    "load": "Load cases",
    "tank": "Tanks",
    "place": "Seats and baggage",
    "ballast": "Ballast",
    "candidate": "What could be made next",
    "removed": "Items",
    "added": "Items",
    "moved": "Items",
}
"""Tables of a part file, and the panel each stands in."""
WORDS = (
    (r"there is no ply: add a \[\[ply\]\] table with its fabric, or a stack", "there is no ply yet: lay one below"),
    (
        r"there is no ply of fabric in the layup\. Add a \[\[ply\]\] with a fabric, "
        r"or let `layup choose PART` find one",
        "there is no cloth in the layup yet: lay one below, or let Choose find a layup",
    ),
    (
        r"and \[needs\] names no load\. Add a \[\[replaces\]\] with a sheet, or write under \[needs\]: .*$",
        "and the sentence asks for nothing. Fill in a hand that pushes or an airspeed, or say under [[replaces]] "
        "on the Part page what it takes the place of.",
    ),
    (r'Add unit = "mm", or "in", or "m"', "Press the unit that makes it the right size"),
    (r"no unit \([^()]*\$INSUNITS[^()]*\)", "no unit"),
    (r'Say which: side = "outer".*$', "Click the side in the picture, or press which one it is."),
    (r"[Ii]nput should be a valid number, unable to parse string as a number\.?", "this is not a number: write 3.8"),
    (r"[Tt]his is not a list\. Write a list in square brackets", "this can't be read. Write each, a comma between"),
    (r"(Write more than \d+|Write \d+)\.0(?=\D|$)", r"\1"),
    (r"[Ss]tring should have at most (\d+) characters", r"it is too long: \1 letters at most"),
    (
        r'Write --ratio "[^"]*", resin first, or a row',
        "Type it above, resin first, and press Plan the batches; or write a row",
    ),
    (r"`layup holes` shows them", "The plan of the part, under Holes and fasteners, shows them"),
    (r"`layup patterns` proposes", "Flat patterns, under Prepare, proposes"),
    (r"Zones of this file", "Zones of this part"),
    (r"Write it without quotes and without a point", "Write a whole number: 2"),
    (r", without quotes| without quotes", ""),
    (r"Name another \[\[zone\]\] of this file", "Make the zone first, or choose another"),
    (r"Add a \[\[zone\]\] of that name", 'Make a zone of that name, or choose another under "Where"'),
    (r"Add a line to this \[\[ply\]\]: thickness = ", "Write it under Thickness: "),
    (r'Write process = "([^"]*)"', r'Choose "\1" under "Process"'),
)
"""Wordings of the part file, and those of the page."""


def label(key: str, table: str = "") -> str:
    """What the field of a key is called.

    >>> label("per_length"), label("rule", "fasteners"), label("odd_key")
    ('Weight by the length', 'Rule of spacing', 'Odd key')
    """
    return OF_TABLE.get((table, key)) or LABELS.get(key) or key.replace("_", " ").capitalize()


def plain(text: str) -> str:
    """A fault's words as the page says them.

    >>> plain('Add a line at the top: resin = "epoxy, laminating".')
    'Under "Resin", write epoxy, laminating.'
    >>> plain('stack and [[ply]] say the same thing: keep one')
    '"Layup in short" and "Plies" say the same thing: keep one'
    """
    for old, new in WORDS:
        text = re.sub(old, new, text)
    text = re.sub(r"\bstack and \[\[ply\]\]", '"Layup in short" and [[ply]]', text)
    text = re.sub(r'(?:Add|Write)(?: a line(?: at the top)?:)? (\w+) = "([^"]*)"( to \[\w+\])?', _field, text)
    return re.sub(r"(?:the |a |an )?\[?\[(\w+)\]\]?( table)?", _panel, text)


def place(text: str) -> str:
    """Where a fault stands, in the page's words.

    >>> place('ply 2, fabric "carbon plane 200"'), place('surface, rectangle, entry 1: "6"'), place("")
    ('Ply 2, cloth "carbon plane 200"', 'Surface, two sides, entry 1: "6"', '')
    """
    head, quote, rest = text.partition('"')
    words = [LABELS[w].lower() if (w := part.strip()) in LABELS else w for part in head.split(",")]
    made = ", ".join(words) + (" " if head.endswith(" ") and words[-1] else "")
    return made[:1].upper() + made[1:] + quote + rest


def _field(found: re.Match[str]) -> str:
    return f'Under "{label(found[1])}", write {found[2]}' if found[1] in LABELS else found[0]


def _panel(found: re.Match[str]) -> str:
    return f'"{TABLES[found[1]]}"' if found[1] in TABLES else found[0]
