"""How the pages are made: the templates, their words, what of a page is sent, and the colours of the one palette."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from layup.bench.labels import plain
from layup.report import palette
from layup.report.document import Block, Section, Words, in_system, to_read
from layup.report.document_html import block_html
from layup.words import (
    System,
    area_words,
    areal_weight_words,
    length_words,
    mass_both,
    mass_metric,
    mass_words,
    percent_words,
    pressure_words,
    temperature_words,
    thickness_words,
)

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

    from layup.sources import Citation
    from layup.spread import Interval

HERE = Path(__file__).parent


@cache
def environment() -> Environment:
    """The templates; what they print is escaped."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    from layup.learn.scale import weighed_words

    made = Environment(
        loader=FileSystemLoader(HERE / "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        mass=mass_both, ounces=mass_words, length=length_words, area=area_words, thickness=thickness_words,
        areal=areal_weight_words, percent=percent_words, pressure=pressure_words, temperature=temperature_words,
        sentence=sentence, signs=signs, blocks=blocks, sources=sources, plain=plain, short=short, span=span,
        weighed=weighed_words,
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


def blocks(shown: Iterable[Block | Section], system: System) -> Markup:
    """What the papers and the terminal show, in the page's words and without what is there for the pencil."""
    from markupsafe import Markup, escape

    def said(block: Block) -> str:
        block = in_system(to_read(block), system)
        if isinstance(block, Words):
            block = replace(block, lines=tuple(signs(plain(line)) for line in block.lines))
        return signs(block_html(block))

    return Markup().join(
        Markup(said(one))
        if not isinstance(one, Section)
        else Markup("<h3>{}</h3>").format(escape(one.title)) + Markup("".join(said(block) for block in one.blocks))
        for one in shown
    )


def sources(citations: Iterable[Citation]) -> Markup:
    """Every figure with its source, as the terminal shows them."""
    from layup.report.materials_screen import sources_grid

    return blocks([sources_grid(citations)], "both")


def short(kg: float, system: System) -> str:
    """A weight where there is room for one system only: pounds and ounces, unless the part is kept in metric.

    >>> short(0.234, "both"), short(0.234, "metric")
    ('8 1/4 oz', '234 g')
    """
    return mass_metric(kg) if system == "metric" else mass_words(kg)


def span(mass: Interval, system: System) -> str:
    """Both ends of an interval in few words.

    >>> from types import SimpleNamespace as Ends
    >>> span(Ends(p05=0.289, p95=0.375), "both"), span(Ends(p05=0.4, p95=1.2), "lb")
    ('10 1/4 to 13 1/4 oz (289 to 375 g)', '14 oz to 2 lb 10 1/4 oz')
    """

    def ends(words: Callable[[float], str]) -> str:
        low, high = words(mass.p05), words(mass.p95)
        unit = low.rpartition(" ")[2]
        alike = high.endswith(" " + unit) and "lb" not in low + high and low.count(unit) == 1
        return f"{low.removesuffix(' ' + unit) if alike else low} to {high}"

    ounces, grams = ends(mass_words), ends(mass_metric)
    return {"lb": ounces, "metric": grams}.get(system, f"{ounces} ({grams})")


def signs(text: str) -> str:
    """Powers as a page prints them.

    >>> signs("0.2 m^2")
    '0.2 m²'
    """
    return text.replace("^2", "²").replace("^3", "³")


_REGION = re.compile(r'<([a-z]+)\b[^>]*?\bdata-region="([^"]*)"')
_BASE = re.compile(r'(name="base" value=")[0-9a-f]{16}')
_LINK = re.compile(r'(\s(?:href|src|action|formaction|data-ask)=")/(?!/)')


def regions(page: str) -> list[tuple[str, int, int, int]]:
    """The regions of a page that its script puts in the place of others: name, begin, where a mark goes, end."""
    found = []
    for head in _REGION.finditer(page):
        depth = 1
        for step in re.compile(rf"<(/?){head[1]}\b").finditer(page, head.end()):
            depth += -1 if step[1] else 1
            if not depth:
                found.append((head[2], head.start(), head.end(), page.index(">", step.end()) + 1))
                break
    return found


def dressed(page: str, root: str, marks: Mapping[str, str]) -> str:
    """A page as it is sent: links with the word it lies under, regions marked, and only what is new to the asker.

    Args:
        page: Whole.
        root: "" or the word, with its slash: "/a1b2".
        marks: Of the regions the asker shows; with others than the page has, the whole page is sent.

    >>> old = dressed('<p data-region="a">1</p><p data-region="b">2</p>', "", {})
    >>> mark = re.findall('mark="(.*?)"', old)
    >>> dressed('<p data-region="a">1</p><p data-region="b">3</p>', "", dict(zip("ab", mark))).count("<p")
    1
    """
    page = _LINK.sub(rf"\1{root}/", page) if root else page
    found = regions(page)
    some = bool(marks) and marks.keys() == {name for name, *_ in found}
    out, last = ["<!doctype html><title>what is new</title>"] if some else [], 0
    for name, begin, at, end in found:
        text = _BASE.sub(r"\1", page[begin:end])  # the state it was made on is nothing new by itself
        mark = hashlib.blake2s(text.encode(), digest_size=6).hexdigest()
        if not some:
            out += [page[last:at], f' data-mark="{mark}"']
            last = at
        elif marks[name] != mark:
            out += [page[begin:at], f' data-mark="{mark}"', page[at:end]]
    return "".join(out) + ("" if some else page[last:])


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
