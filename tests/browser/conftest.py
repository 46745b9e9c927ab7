"""The bench page in a real browser: the system's own Chromium, driven against the real program.

Without Chromium these tests are skipped; where LAYUP_BROWSER is "must" they fail instead, as in `.ci/run`.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
DOOR = "motor-glider/engine-bay-door.toml"
SIZES = {"laptop": (1366, 768), "tablet": (820, 1180)}
FLAGS = (
    "--no-sandbox", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-quic",
    "--no-first-run",
)  # fmt: skip
TURNING = ("--use-angle=swiftshader", "--enable-unsafe-swiftshader")
FLAT = ("--disable-gpu", "--disable-3d-apis")
"""Its still picture is shown then; a turning one, drawn by the processor alone, costs more than the rest of a test."""


def chromium() -> str | None:
    """Path of the system's Chromium or Chrome; None where there is none."""
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
    return os.environ.get("LAYUP_CHROMIUM") or next((p for n in names if (p := shutil.which(n))), None)


@pytest.fixture(scope="module")  # the driver holds this thread's event loop as long as it is open
def browser() -> Iterator[Callable[[bool], Any]]:
    """Chromium, with the turning picture or without; each is opened once, when it is asked for."""
    path = chromium()
    if path is None:
        if os.environ.get("LAYUP_BROWSER") == "must":
            pytest.fail("LAYUP_BROWSER is must, and there is no Chromium on this machine")
        pytest.skip("there is no Chromium on this machine: install the distribution's package chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        opened: dict[bool, Any] = {}

        def of(turning: bool) -> Any:
            if turning not in opened:
                flags = [*FLAGS, *(TURNING if turning else FLAT)]
                opened[turning] = driver.chromium.launch(executable_path=path, args=flags)
            return opened[turning]

        yield of
        for one in opened.values():
            one.close()


@dataclass
class Bench:
    """The running program and the folder it works on."""

    root: Path
    port: int
    process: subprocess.Popen[str]
    address: str
    word: str = ""
    asked: list[str] = field(default_factory=list)

    @property
    def home(self) -> str:
        """The page's address, with the word it lies under once somebody came in by the key."""
        return f"http://127.0.0.1:{self.port}{self.word}"

    def text(self, file: str) -> str:
        return (self.root / file).read_text(encoding="utf-8")

    def kill(self) -> None:
        """End it as a power cut would end it."""
        self.process.kill()
        self.process.wait()

    def start(self) -> None:
        """Start it, on the same port as before."""
        command = [sys.executable, "-m", "layup", "bench", str(self.root), "--no-browser", "--port", str(self.port)]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert "/?key=" in line, line
        self.address = line.split("bench page: ")[1].strip()


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@contextmanager
def running(folder: Path) -> Iterator[Bench]:
    """The program on a copy of the examples."""
    root = folder / "shop"
    shutil.copytree(EXAMPLES, root)
    made = Bench(root, free_port(), None, "")  # type: ignore[arg-type]  # start() gives the process
    made.start()
    yield made
    made.process.terminate()
    try:
        made.process.wait(10)
    except subprocess.TimeoutExpired:
        made.kill()
        raise


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with running(tmp_path) as made:
        yield made


Open = Callable[..., Any]


@pytest.fixture
def look(browser: Callable[[bool], Any], bench: Bench) -> Iterator[Open]:
    """Opens a page of the running program: `look("/part", DOOR, size="tablet")`; faults of its script fail the test.

    `picture=True` where the test turns, clicks or reads the picture.
    """
    contexts: list[Any] = []
    faults: list[str] = []

    def opened(
        path: str, file: str = "", size: str = "laptop", script: bool = True, context: Any = None, picture: bool = False
    ) -> Any:
        wide, high = SIZES[size]
        if context is None:
            context = browser(picture).new_context(
                viewport={"width": wide, "height": high}, java_script_enabled=script, has_touch=size == "tablet",
                accept_downloads=True,
            )  # fmt: skip
            contexts.append(context)
            context.on("request", lambda request: bench.asked.append(request.url))
        page = context.new_page()
        page.set_default_timeout(60_000)
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda line: faults.append(line.text) if "Content Security Policy" in line.text else None)
        place, key = bench.address.split("/?")
        page.goto(f"{place}/look/mark.svg?{key}")  # in by the key, without the first page's many predictions
        bench.word = page.url.removeprefix(place).removesuffix("/look/mark.svg")
        page.goto(f"{bench.home}{path}" + (f"?file={file}" if file else ""))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not faults, faults
    own = f"http://127.0.0.1:{bench.port}/"
    away = [url for url in bench.asked if not url.startswith((own, "blob:", "data:"))]
    assert not away, away


def wait_for(what: Callable[[], bool], seconds: float = 120.0) -> None:
    """Wait until something holds."""
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, "it did not come to hold"
        time.sleep(0.05)
