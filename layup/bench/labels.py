"""The part file's words as this page says them: labels for its keys, and faults that point at fields and buttons.

A fault is worded for a person with the file in an editor ("add a [[ply]] table"); on the page there is none to write.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

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
    "stages": "Wet plies laid in so many goes", "near": "What it stands beside", "hand": "How the resin is worked",
    "control_surface": "A control surface", "holds_person": "Holds a person", "gores": "Gores, cut in so many",
    "stiffeners": "What stiffens it",
    "trim": "Laid up beyond the edge", "stack": "Layup in short",
}  # fmt: skip
"""Keys of a part file, and what the page calls their fields."""
NEEDS = {
    "stiffness": "How stiff", "in_plane_stiffness": "As stiff in its own plane", "span": "A strip spans",
    "pressure": "An even pressure", "speed": "The air at", "at_altitude": "That speed is at",
    "of_dynamic_pressure": "Pressure coefficient", "deflection": "Gives at most", "hand_load": "A hand pushing with",
    "hand_patch": "The hand pushes over a patch of", "hand_at": "The hand pushes at",
    "hand_deflection": "Gives at most there", "frequency": "Lowest own frequency", "push_x": "Push along x",
    "push_y": "Push along y", "pull_x": "Pull along x", "pull_y": "Pull along y", "shear_x": "Shear along x",
    "shear_y": "Shear along y", "section": "A closed section", "shape": "The section is", "torque": "Torque",
    "moment": "Bending moment", "width": "Width", "height": "Height", "load_factor": "Loads times",
    "criterion": "Failure criterion", "least_plies": "At least so many plies", "most_plies": "At most so many",
    "least_skin": "On either side of a core", "minimum_plies": "At least so many plies",
    "maximum_plies": "At most so many", "minimum_skin_plies": "On either side of a core",
    "drop_rules": "Rules of the trade not kept", "keep_rules": "Rules kept on request",
    "greatest_thickness": "No thicker than", "maximum_thickness": "No thicker than", "surface_ply": "Outermost ply",
    "angles": "Angles allowed", "symmetric": "Symmetric", "run_at_most": "Most plies of one angle in a row",
    "supports": "Its sides", "held_at": "Supported at points besides", "bearing_strength": "Bearing strength",
    "through_strength": "Shear strength through the laminate", "head": "Washer or head", "load": "Carries",
    "pull": "Is pulled with", "fasteners": "Holes of the old fasteners", "glue_shear_modulus": "Its shear modulus",
    "glue_modulus": "Its tensile modulus", "shear_strength": "Its shear strength", "peel_strength": "Peel strength",
}  # fmt: skip
"""Keys of what a part has to do, and what the Choose page calls them."""
OF_TABLE = {
    ("fasteners", "rule"): "Rule of spacing",
    ("fasteners", "edge"): "To the edge at least, in diameters",
    ("fasteners", "pitch"): "Apart at least, in diameters",
    ("fasteners", "within"): "Must fit within",
    ("fasteners", "match"): "Where its holes have to be, a line each",
    ("zone", "not"): "All but zone",
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
    "made": "Versions already weighed",
    "surface": "Surface",
    "needs": "More that it must do",
    "needs.local": "Zones that may get plies of their own",
    "needs.bolts": "Bolts, screws and rivets",
    "needs.laps": "Bonded laps",
    "needs.inserts": "Potted inserts",
    "shelf": "What is on the shelf",
    "start": "First weighing",
    "start.scale": "Scales of the first weighing",
    "final": "Final weighing",
    "target": "What next",
    "consolidation": "Several parts that become one",
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
    (
        r'; or write a row in your own table: "[^"]*",mix_ratio_by_weight,[^ ]*',
        '; or put your own resin into your table with it: "My resin", on the Part page',
    ),
    (r"State yours under \[needs\]", "State yours in the sentence"),
    (r"`layup holes` shows them", "The plan of the part, under Holes and fasteners, shows them"),
    (r"`layup patterns` proposes", "Flat patterns, under Prepare, proposes"),
    (r"Zones of this file", "Zones of this part"),
    (r"Write it without quotes and without a point", "Write a whole number: 2"),
    (r", without quotes| without quotes", ""),
    (r"Name another \[\[zone\]\] of this file", "Make the zone first, or choose another"),
    (r"Add a \[\[zone\]\] of that name", 'Make a zone of that name, or choose another under "Where"'),
    (r"Add a line to this \[\[ply\]\]: thickness = ", "Write it under Thickness: "),
    (r'[Ww]rite process = "([^"]*)"', r'choose "\1" under "Process"'),
    (r'write near = "([^"]*)", or near = "nothing"', r'tick \1, or nothing, under "What it stands beside"'),
    (r'write near = "dark in the sun", or "engine"', "say so in the sentence: dark in the sun, or beside the engine"),
    (r"write (control_surface|holds_person) = true, or false", r'say yes or no under "\1"'),
    (r"; --no-shop goes by published figures alone", ""),
    (r"write at the top of the file: ", ""),
    (r" \(write drop_rules under \[needs\]\)", ' (name it under "drop_rules")'),
    (r"the part file says ", "the part says "),
)
"""Wordings of the part file, and those of the page."""


def label(key: str, table: str = "") -> str:
    """What the field of a key is called.

    >>> label("per_length"), label("rule", "fasteners"), label("odd_key")
    ('Weight by the length', 'Rule of spacing', 'Odd key')
    """
    return OF_TABLE.get((table, key)) or LABELS.get(key) or key.replace("_", " ").capitalize()


_VALUE = r'"[^"]*"|\[[^\[\]]*\]|\{[^{}]*\}|true|false|-?[0-9.]*[0-9]'
"""A value as a file has it."""


def plain(text: str, more: Mapping[str, str] | None = None) -> str:
    """A fault's words as the page says them.

    Args:
        text: Words of the part file or the refit file.
        more: Keys with labels of their own, where they are others than those of a part.

    >>> plain('Add a line at the top: resin = "epoxy, laminating".')
    'Under "Resin", write epoxy, laminating.'
    >>> plain('stack and [[ply]] say the same thing: keep one')
    '"Layup in short" and "Plies" say the same thing: keep one'
    >>> plain('pull needs the washer and a tested strength: head = "12 mm", through_strength = "40 MPa"')
    'pull needs the washer and a tested strength: "Washer or head" 12 mm, "Shear strength through the laminate" 40 MPa'
    """
    called, upper = {**LABELS, **NEEDS, **(more or {})}, text[:1].isupper()
    for old, new in WORDS:
        text = re.sub(old, new, text)
    text = re.sub(r"\bstack and \[\[ply\]\]", '"Layup in short" and [[ply]]', text)

    def said(found: re.Match[str]) -> str:
        value = re.sub(r'["\[\]{}]', "", found[2]).strip()
        value = re.sub(r"\b([a-z_]+) = ", lambda one: called.get(one[1], one[1]).lower() + " ", value)
        value = {"true": "yes", "false": "no"}.get(value, value)
        return f'"{called[found[1]]}" {value}' if found[1] in called else found[0]

    text = re.sub(r'(?:Add|Write)(?: a line(?: at the top)?:)? (\w+) = "([^"]*)"( to \[\w+\])?', _field, text)
    text = re.sub(r"(?:the |a |an )?\[?\[([a-z.]+)\]\]?( table)?", _panel, text)
    text = re.sub(rf"\b([a-z_]+) = ({_VALUE})", said, text)
    text = re.sub(
        r'"?\b([a-z]+(?:_[a-z]+)+)\b"?', lambda found: f'"{called[found[1]]}"' if found[1] in called else found[0], text
    )
    return text[:1].upper() + text[1:] if upper else text


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
