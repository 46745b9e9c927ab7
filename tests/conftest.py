"""What several tests share: a part that is easy to check by hand, and where the examples lie."""

from __future__ import annotations

import os
import shutil
import signal
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# No example has a time limit: how fast the machine is says nothing of the program. Where CI is set the examples are the
# same in every run, and fewer; elsewhere they are new ones each time, so that they find more.
_CI = bool(os.environ.get("CI"))
settings.register_profile("house", deadline=None, derandomize=_CI, max_examples=40 if _CI else 100)
settings.load_profile("house")

# Hundreds of tests start the program as a user does, whose machine compiles it once: 0.2 s of each start otherwise, and
# a start time that nobody waits for would be measured.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# One thread of linear algebra a process: the cores are shared by the tests that run beside each other, and the matrices
# of a panel are small. Threads that wait for each other took more than half of the processor's time of a search.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

EXAMPLES = Path(__file__).parent.parent / "examples"

# What takes 0.7 s or more: left out of `pytest -m "not slow and not browser"`, the fast lane, never of a whole run.
# A folder or a test a line; `pytest -n auto --dist loadfile --write-slow` times all tests and writes the list.
_SLOW_LIST = Path(__file__).parent / "slow.txt"
SLOW = tuple(_SLOW_LIST.read_text(encoding="utf-8").split())
_LONG = 0.7  # seconds
_took: Counter[str] = Counter()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Have the slow tests found and listed."""
    parser.addoption("--write-slow", action="store_true", help="time all tests and write tests/slow.txt")


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Add up what a test takes with its fixtures, whatever it is given."""
    _took[report.nodeid.removeprefix("tests/").partition("[")[0]] += report.duration


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Write the list, in the process that heard of all tests."""
    if session.config.getoption("--write-slow") and "PYTEST_XDIST_WORKER" not in os.environ:
        slow = {test for test, seconds in _took.items() if seconds >= _LONG}
        slow = {test for test in slow if not test.startswith(("benchmarks/", "browser/"))} | {"benchmarks"}
        _SLOW_LIST.write_text("\n".join(sorted(slow)) + "\n", encoding="utf-8")


def is_slow(test: str) -> bool:
    """Whether a test, `test_photo.py::test_bars[x]` as seen from this folder, is one of `SLOW` or in it."""
    return any(test == slow or test.startswith((f"{slow}/", f"{slow}::", f"{slow}[")) for slow in SLOW)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the slow tests, so that one list says which they are; and what may be tried again, which the run reports.

    What the machine does beside us can only make a benchmark's ratio worse: one of three measurements must hold. A test
    of the page gets a second chance beside everything else that runs; one that needed it is a fault to look into.
    """
    here = Path(__file__).parent
    for item in items:
        if item.path.is_relative_to(here):
            _, _, inner = item.nodeid.partition("::")
            if is_slow(f"{item.path.relative_to(here).as_posix()}::{inner}"):
                item.add_marker(pytest.mark.slow)
            if "benchmarks" in item.path.parts:
                item.add_marker(pytest.mark.flaky(reruns=2, only_rerun=["AssertionError"]))
            elif "browser" in item.path.parts:
                item.add_marker(pytest.mark.flaky(reruns=1))


LOCKS = "LAYUP_TEST_LOCKS"  # where the processes of one run, `pytest -n`, find each other's locks


def pytest_configure(config: pytest.Config) -> None:
    """A shell that starts us in the background leaves Ctrl-C ignored, and what we start would inherit that."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    if getattr(config.option, "numprocesses", None):
        os.environ[LOCKS] = tempfile.mkdtemp()


def pytest_unconfigure(config: pytest.Config) -> None:
    """Take the locks away, in the process that laid them out."""
    if getattr(config.option, "numprocesses", None) and LOCKS in os.environ:
        shutil.rmtree(os.environ.pop(LOCKS), ignore_errors=True)


@contextmanager
def _held(name: str, alone: bool) -> Iterator[None]:
    """A lock between the processes of one run, held by all that share it or by one alone."""
    try:
        import fcntl
    except ImportError:  # Windows: its benchmarks share the machine with the other tests
        yield
        return
    with (Path(os.environ[LOCKS]) / name).open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX if alone else fcntl.LOCK_SH)
        yield


_room: list[ExitStack] = []
"""What this process holds of the room in which benchmarks are alone: nothing, or one hold."""


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item, nextitem: pytest.Item | None) -> Iterator[None]:
    """Run benchmarks alone: they compare two times, and a test on the other core would bend one of them.

    Whoever waits to be alone holds the door shut, or the others would pass it in and out for ever; and stays for the
    benchmarks that follow at once, or each of them would wait for a test of the other process to end.
    """
    if LOCKS not in os.environ:
        return (yield)
    alone, alone_next = (one is not None and "benchmarks" in one.path.parts for one in (item, nextitem))
    if not _room:
        hold = ExitStack()
        with _held("door", alone=True):
            hold.enter_context(_held("room", alone=alone))
        _room.append(hold)
    try:
        return (yield)
    finally:
        if not (alone and alone_next):
            _room.pop().close()


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


@pytest.fixture(scope="session")
def opened() -> dict[object, Any]:
    """Surfaces that were opened, by what their table and their files hold: see `page`."""
    return {}


@pytest.fixture
def page(tmp_path: Path, opened: dict[object, Any], monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """The bench page on a copy of the examples, without a browser: see bench_page.Page.

    Each test has a folder of its own, where the page would read the same mesh again and part it in the same zones: one
    surface serves them all, and a prediction beside them, as it serves each state of a page that stays open.
    """
    from bench_page import open_page

    from layup.partfile import opened as opening

    opens = opening._opened

    def kept(entry: Any, folder: Path, areas: Any, told: Any) -> Any:
        named = [folder / name for name in entry.model_dump(exclude_none=True).values() if isinstance(name, str)]
        held = tuple(file.read_bytes() for file in named if file.is_file())
        key = (entry.model_dump_json(), tuple(sorted(areas)), held)
        if key not in opened:
            if len(opened) > 20:
                opened.clear()
            opened[key] = opens(entry, folder, areas, told)
        return opened[key]

    monkeypatch.setattr(opening, "_opened", kept)
    root = tmp_path / "shop"
    shutil.copytree(EXAMPLES, root)
    page = open_page(root)
    yield page
    page.bench.works.close()
    page.bench.desk.journal.close()
