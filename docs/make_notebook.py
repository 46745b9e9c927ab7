"""Write docs/python.ipynb, the page docs/python.md as a notebook: its text and its code, cell by cell.

Run it from anywhere: python docs/make_notebook.py. The form is that of nbformat 4.5 (its JSON schema, from memory).
"""

from __future__ import annotations

import json
import re
from pathlib import Path

HERE = Path(__file__).parent


def notebook(page: str) -> str:
    """A page in Markdown as a notebook: what stands between ```python and ``` becomes a cell of code."""
    cells = []
    for number, text in enumerate(re.split(r"^```(?:python)?\n", page, flags=re.M)):
        if not text.strip():
            continue
        lines = text.strip().splitlines(keepends=True)
        cell = {"cell_type": "markdown", "id": f"cell-{number}", "metadata": {}, "source": lines}
        cells.append(cell | {"cell_type": "code", "execution_count": None, "outputs": []} if number % 2 else cell)
    kernel = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}
    whole = {"cells": cells, "metadata": kernel, "nbformat": 4, "nbformat_minor": 5}
    return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    (HERE / "python.ipynb").write_text(notebook((HERE / "python.md").read_text("utf-8")), "utf-8")
