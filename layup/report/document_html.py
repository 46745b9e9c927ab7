"""Papers as one HTML file, for a tablet at the bench too: large type, boxes to tick and to type in, no network."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape

from layup.report import palette
from layup.report.document import TICK, WRITE, Block, Document, Facts, Grid, Plate, Words

_STYLE = """
:root { --ink: #111; --quiet: #565656; --line: #111; --pale: #ebebeb; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1.2rem; max-width: 70rem; color: var(--ink); background: #fff;
  font: 1.15rem/1.4 "DejaVu Sans", Verdana, sans-serif; }
header { border: 2px solid var(--line); margin-bottom: 1.6rem; }
header h1 { margin: 0; padding: .5rem .8rem; font-size: 1.8rem; border-bottom: 1px solid var(--line); }
header h1 small { display: block; font-size: .75rem; font-weight: normal; color: var(--quiet); }
dl { display: grid; grid-template-columns: repeat(auto-fit, minmax(13rem, 1fr)); margin: 0 0 1rem; gap: 1px;
  border: 1px solid var(--line); }
header dl { margin: 0; border: 0; }
dl div { box-shadow: 0 0 0 1px var(--line); padding: .35rem .7rem; }
dt { font-size: .8rem; color: var(--quiet); }
dd { margin: 0; font-weight: bold; white-space: pre-line; }
h2 { display: flex; align-items: stretch; border-bottom: 2px solid var(--line); margin: 2.2rem 0 1rem;
  font-size: 1.4rem; }
h2 b { background: var(--ink); color: #fff; min-width: 2.2rem; text-align: center; margin-right: .7rem; }
.wide { overflow-x: auto; margin-bottom: 1rem; }
table { border-collapse: collapse; width: 100%; }
th { background: var(--pale); border-top: 2px solid var(--line); border-bottom: 2px solid var(--line);
  font-size: .85rem; text-align: left; vertical-align: bottom; padding: .3rem .5rem; }
td { border-bottom: 1px solid var(--line); padding: .45rem .5rem; white-space: pre-line; }
.tall td { padding-top: .9rem; padding-bottom: .9rem; }
.right { text-align: right; }
.strong { font-weight: bold; }
input[type=checkbox] { width: 2.1rem; height: 2.1rem; accent-color: var(--ink); }
input[type=text] { width: 100%; min-width: 5rem; min-height: 2.8rem; font: inherit; border: 2px solid var(--line);
  padding: .2rem .4rem; background: #fff; color: var(--ink); }
figure { margin: 0 0 1rem; } figure svg, figure img { max-width: 100%; height: auto; }
article + article { break-before: page; border-top: 3px solid var(--line); margin-top: 3rem; padding-top: 1rem; }
.alarm, tr.bad td { background: OLD; color: PAPER; font-weight: bold; }
.alarm { padding: .6rem .9rem; margin: .8rem 0; }
tr.total td { font-weight: bold; border-top: 2px solid var(--line); }
.caution { border-left: .5rem solid var(--ink); padding-left: .8rem; }
@media print { * { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
  body { font-size: 10pt; max-width: none; padding: 0; } h2 { break-after: avoid; }
  tr, figure, dl { break-inside: avoid; } @page { margin: 14mm; } }
""".replace("OLD", palette.OLD).replace("PAPER", palette.PAPER)


def html_text(documents: Sequence[Document]) -> str:
    """Papers as one HTML page that needs nothing else."""
    first = documents[0]
    title = escape(f"{first.title}, {first.kind[:1].lower()}{first.kind[1:]}")
    body = "\n".join(_article(document) for document in documents)
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{title}</title>\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def _article(document: Document) -> str:
    alarms = "".join(f'<div class="alarm" role="alert">{escape(line)}</div>\n' for line in document.alarms)
    sections = "\n".join(
        f"<section>\n<h2><b>{number}</b> {escape(section.title)}</h2>\n"
        + "\n".join(block_html(block) for block in section.blocks)
        + "\n</section>"
        for number, section in enumerate(document.sections, 1)
    )
    return (
        f"<article>\n<header>\n<h1><small>{escape(document.kind)}</small>{escape(document.title)}</h1>\n"
        f"{_facts(document.plate)}\n</header>\n{alarms}{sections}\n{alarms}</article>"
    )


def block_html(block: Block) -> str:
    """One block; the page in the browser shows it in its own type."""
    if isinstance(block, Facts):
        return _facts(block.pairs)
    if isinstance(block, Grid):
        return _grid(block)
    if isinstance(block, Plate):
        return _plate(block)
    return _words(block)


def _facts(pairs: tuple[tuple[str, str], ...]) -> str:
    cells = "".join(f"<div><dt>{escape(k)}</dt><dd>{_cell(v, k)}</dd></div>" for k, v in pairs)
    return f"<dl>{cells}</dl>"


def _cell(value: str, label: str) -> str:
    if value == TICK:
        return f'<input type="checkbox" aria-label="{escape(label, quote=True)}">'
    if value == WRITE:
        return f'<input type="text" aria-label="{escape(label, quote=True)}">'
    return escape(value)


def _grid(grid: Grid) -> str:
    def kind(column: int) -> str:
        names = [n for n, on in (("right", grid.right), ("strong", grid.strong), ("quiet", grid.quiet)) if column in on]
        return f' class="{" ".join(names)}"' if names else ""

    head = "".join(f"<th{kind(i)}>{escape(name)}</th>" for i, name in enumerate(grid.head))
    head = f"<thead><tr>{head}</tr></thead>" if any(grid.head) else ""
    rows = []
    for number, row in enumerate(grid.rows):
        label = next((c for c in row if c not in (TICK, WRITE)), "")
        cells = "".join(f"<td{kind(i)}>{_cell(c, f'{grid.head[i]}, {label}')}</td>" for i, c in enumerate(row))
        row_class = ' class="bad"' if number in grid.bad else ' class="total"' if number in grid.totals else ""
        rows.append(f"<tr{row_class}>{cells}</tr>")
    tall = ' class="tall"' if grid.tall else ""
    table = f"<table{tall}>{head}<tbody>{''.join(rows)}</tbody></table>"
    return f'<div class="wide" tabindex="0">{table}</div>'


def _plate(plate: Plate) -> str:
    says = escape(plate.says, quote=True)
    if plate.svg:
        return f'<figure role="img" aria-label="{says}">{plate.svg}</figure>'
    data = base64.b64encode(plate.png).decode("ascii")
    return f'<figure><img alt="{says}" src="data:image/png;base64,{data}"></figure>'


def _words(words: Words) -> str:
    lines = "".join(f"<p>{escape(line)}</p>" for line in words.lines)
    return f'<div class="caution">{lines}</div>' if words.caution else lines
