"""Papers of a refit as one HTML page that needs nothing else: it opens anywhere and prints."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape

from layup.refit.papers import FIGURES, Paper, Section
from layup.report import palette

_STYLE = f"""
body {{ font: 15px/1.45 "DejaVu Sans", Verdana, sans-serif; color: {palette.INK};
  max-width: 60rem; margin: 2rem auto; padding: 0 1rem; }}
article + article {{ page-break-before: always; border-top: 3px solid {palette.INK}; margin-top: 3rem;
  padding-top: 1rem; }}
h1 {{ font-size: 1.6rem; margin: 0; }} h2 {{ font-size: 1.1rem; margin: 1.6rem 0 .4rem; }}
.alarm {{ background: {palette.OLD}; color: {palette.PAPER}; font-weight: bold; font-size: 1.1rem;
  padding: .6rem .9rem; margin: .8rem 0; }}
dl {{ display: grid; grid-template-columns: 8rem 1fr; gap: .1rem .8rem; }}
dt {{ color: {palette.QUIET}; }} dd {{ margin: 0; }}
table {{ border-collapse: collapse; width: 100%; font-size: .88rem; }}
th, td {{ text-align: left; vertical-align: top; padding: .25rem .5rem; border-bottom: 1px solid {palette.QUIET}; }}
th {{ background: {palette.PALE}; }} th.r, td.r {{ text-align: right; white-space: nowrap; }}
tr.total td {{ font-weight: bold; border-top: 2px solid {palette.INK}; }}
tr.bad td {{ background: {palette.OLD}; color: {palette.PAPER}; font-weight: bold; }}
.note {{ font-size: .88rem; margin: .4rem 0; }} svg {{ max-width: 100%; height: auto; }}
.sign td {{ height: 2.6rem; vertical-align: bottom; border: 0; }}
.sign td + td {{ border-bottom: 1px solid {palette.INK}; width: 64%; }}
@media print {{ * {{ print-color-adjust: exact; -webkit-print-color-adjust: exact; }} }}
"""


def html_text(papers: Sequence[Paper], picture: str | None) -> str:
    """Papers as one page.

    Args:
        papers: What to show.
        picture: Of the load cases against the limits, SVG; None where there is none.

    Returns:
        The page.
    """
    title = escape(papers[0].subject if papers else "layup")
    body = "\n".join(_article(paper, picture) for paper in papers)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n<title>{title}</title>\n'
        f"<style>{_STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _article(paper: Paper, picture: str | None) -> str:
    alarm = "".join(f'<div class="alarm" role="alert">{escape(line)}</div>\n' for line in paper.alarms)
    facts = "".join(f"<dt>{escape(label)}</dt><dd>{escape(value)}</dd>" for label, value in paper.facts)
    sections = "\n".join(_section(section, picture) for section in paper.sections)
    notes = "".join(f'<p class="note">{escape(note)}</p>' for note in paper.notes)
    lines = "".join(f"<tr><td>{escape(label)}</td><td></td></tr>" for label in paper.signed)
    return (
        f"<article>\n<h1>{escape(paper.title)}</h1>\n<p>{escape(paper.subject)}</p>\n{alarm}<dl>{facts}</dl>\n"
        f"{sections}\n{notes}\n{alarm}<h2>For the licensed person</h2>\n"
        f'<p class="note">Checked and found correct. The tool that prepared this paper signs nothing.</p>\n'
        f'<table class="sign">{lines}</table>\n</article>'
    )


def _section(section: Section, picture: str | None) -> str:
    head = f"<h2>{escape(section.heading)}</h2>"
    if section.picture:
        return head + "\n" + _inline(picture) if picture else ""
    notes = "".join(f'<p class="note">{escape(note)}</p>' for note in section.notes)
    if not section.columns:
        return head + notes
    sides = [' class="r"' if column.heading in FIGURES else "" for column in section.columns]
    heads = "".join(f"<th{side}>{escape(c.heading)}</th>" for side, c in zip(sides, section.columns, strict=True))
    rows = []
    for number, row in enumerate(section.rows):
        kind = "bad" if number in section.bad else "total" if number in section.totals else ""
        cells = "".join(f"<td{side}>{escape(cell.text)}</td>" for side, cell in zip(sides, row, strict=True))
        rows.append(f'<tr class="{kind}">{cells}</tr>' if kind else f"<tr>{cells}</tr>")
    return f"{head}\n<table><thead><tr>{heads}</tr></thead>\n<tbody>{''.join(rows)}</tbody></table>{notes}"


def _inline(svg: str) -> str:
    """The drawing without its XML head, which HTML has no use for."""
    return re.sub(r"^.*?(?=<svg)", "", svg, count=1, flags=re.S)
