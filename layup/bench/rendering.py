"""How the pages are made: the templates, the words they may use, and the colours of the one palette."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

from layup.report import palette
from layup.words import (
    area_words,
    areal_weight_words,
    length_words,
    mass_both,
    mass_words,
    percent_words,
    pressure_words,
    temperature_words,
    thickness_words,
)

HERE = Path(__file__).parent


@cache
def environment() -> Any:
    """The templates; what they print is escaped."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(HERE / "pages"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    made.filters.update(
        mass=mass_both, ounces=mass_words, length=length_words, area=area_words, thickness=thickness_words,
        areal=areal_weight_words, percent=percent_words, pressure=pressure_words, temperature=temperature_words,
        sentence=sentence, signs=signs,
    )  # fmt: skip
    made.globals.update(zip=zip, enumerate=enumerate, len=len, abs=abs)
    return made


def sentence(text: str) -> str:
    """A text with a capital letter and a full stop; the name of a file that it begins with stays as it is.

    >>> sentence("it is missing"), sentence("door.stl: no unit")
    ('It is missing.', 'door.stl: no unit.')
    """
    text = text.strip()
    named = re.match(r"[^\s\"]+\.[A-Za-z]\w+\b|[^:\"]+\.[A-Za-z]\w{1,4}:", text)
    return (text if named else text[:1].upper() + text[1:]) + ("" if text.endswith((".", "!", "?")) else ".")


def signs(text: str) -> str:
    """Powers as a page prints them.

    >>> signs("0.2 m^2")
    '0.2 m²'
    """
    return text.replace("^2", "²").replace("^3", "³")


@cache
def colours() -> str:
    """The palette as a style sheet."""
    named = {
        name.casefold(): getattr(palette, name) for name in ("INK", "QUIET", "PAPER", "PALE", "PART", "OTHER", "OLD")
    }
    named |= {f"zone-{n}": colour for n, colour in enumerate(palette.ZONES)}
    named |= {f"share-{n}": colour for n, colour in enumerate(palette.SHARES)}
    lines = "".join(f"  --{name}: {colour};\n" for name, colour in named.items())
    marks = "".join(f".zone-{n} {{ --mark: {colour}; }}\n" for n, colour in enumerate(palette.ZONES))
    return f":root {{\n{lines}}}\n{marks}"
