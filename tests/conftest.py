"""What several tests share: a part that is easy to check by hand, and where the examples lie."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# No example has a time limit: how fast the machine is says nothing of the program. Where CI is set the examples are the
# same in every run; elsewhere they are new ones each time, so that they find more.
settings.register_profile("house", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("house")

EXAMPLES = Path(__file__).parent.parent / "examples"


@pytest.fixture
def examples() -> Path:
    return EXAMPLES


@pytest.fixture
def hatch() -> Callable[..., dict[str, Any]]:
    """A part as a mapping: one square metre of two plies in a bag; keys given replace its own, None removes one."""

    def make(**changes: Any) -> dict[str, Any]:
        part: dict[str, Any] = {
            "title": "Hatch",
            "process": "vacuum bag",
            "resin": "epoxy, laminating",
            "surface": {"rectangle": ["1 m", "1 m"]},
            "ply": [{"fabric": "carbon plain 200"}, {"fabric": "carbon plain 200", "angle": 45}],
        }
        part.update(changes)
        return {key: value for key, value in part.items() if value is not None}

    return make


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Any]:
    """The bench page on a copy of the examples, without a browser: see bench_page.Page."""
    import shutil

    from bench_page import open_page

    root = tmp_path / "shop"
    shutil.copytree(EXAMPLES, root)
    opened = open_page(root)
    yield opened
    opened.bench.works.close()
    opened.bench.desk.journal.close()
