"""Two pages on one folder, and pages that are killed: nothing that was answered is lost.

What is killed is the page as `layup bench` serves it: a process that has the modules loaded already forks, serves, and
is ended by SIGKILL at a moment drawn by a seeded generator.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import bench_server
import pytest
from bench_server import Server
from test_bench_journal import NAME, PART, litter, number_in

from layup.bench.desk import Desk
from layup.bench.folder import Folder
from layup.bench.journal import KEPT, Alone, Journal, read
from layup.errors import LayupError

KILLS = int(os.environ.get("LAYUP_KILLS", "20"))
"""How often the page is killed; more on request."""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    root = tmp_path / "shop"
    root.mkdir()
    (root / NAME).write_text(PART, encoding="utf-8")
    return root


ALONE = """
import sys, time
from pathlib import Path
from layup.bench.journal import Alone
alone = Alone(Path(sys.argv[1]), 5.0)
with alone.held():
    print("held", flush=True)
    time.sleep(60)
"""


def test_a_program_that_dies_lets_go(shop: Path) -> None:
    mine = Alone(shop, 0.3)
    other = subprocess.Popen([sys.executable, "-c", ALONE, str(shop)], stdout=subprocess.PIPE, text=True)
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    with pytest.raises(LayupError, match="another program"), mine.held():
        pass
    other.kill()
    other.communicate()
    with mine.held(), mine.held():
        pass
    mine.close()


EDITS = """
import sys, threading
from pathlib import Path
from layup.bench.desk import Desk, StaleError, version_of
from layup.bench.folder import Folder
from layup.bench.journal import read
root, word, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
desk = Desk(Folder(root))
desk._sheet = lambda *a: None  # what it weighs is not asked here
print("ready", flush=True)
sys.stdin.readline()
stale = 0
for n in range(count):
    while True:
        base = version_of(read(root / "door.toml")) if sys.argv[4] == "seen" else ""
        try:
            desk.edit("door.toml", base, f"{word}{n}", lambda text: text + f"# {word}{n}\\n")
            break
        except StaleError:
            stale += 1
print(stale, flush=True)
desk.journal.close()
"""


@pytest.mark.parametrize("how", ["seen", "blind"])
def test_two_pages_on_one_folder_lose_nothing(shop: Path, how: str) -> None:
    """Both edit as fast as they can; an edit on a text that is not there any more is refused, and tried again.

    An edit that does not say what it saw is made on what stands there then, and is never in the way of another.
    """
    pages = [
        subprocess.Popen([sys.executable, "-c", EDITS, str(shop), word, "60", how], stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, text=True)
        for word in ("left", "right")
    ]  # fmt: skip
    for page in pages:
        assert page.stdout is not None
        assert page.stdout.readline() == "ready\n"
    for page in pages:
        assert page.stdin is not None
        page.stdin.write("go\n")
        page.stdin.flush()
    stale = [int(page.communicate(timeout=300)[0]) for page in pages]
    lines = (shop / NAME).read_text(encoding="utf-8").removeprefix(PART).splitlines()
    assert sorted(lines) == sorted(f"# {word}{n}" for word in ("left", "right") for n in range(60))
    assert (sum(stale) > 0) == (how == "seen")  # they did meet
    desk = Desk(Folder(shop))
    for _ in range(120):
        desk.undo(NAME)
    assert number_in(shop) == 0
    desk.journal.close()


LAUNCH = """
import os, sys
from pathlib import Path
import uvicorn, starlette.applications, starlette.formparsers, multipart
from layup.bench import app
from layup.weight.prediction import predict
folder = Path(sys.argv[1])
predict(folder / "door.toml")
app.build(Path(sys.argv[2]), "x", 1).close()
for line in sys.stdin:
    child = os.fork()
    if child == 0:
        port = int(line)
        print(f"pid {os.getpid()}", flush=True)
        app.serve(folder, port, False, lambda text: print(text, flush=True))
        os._exit(0)
    os.waitpid(child, 0)
    print("ended", flush=True)
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the system can't fork")
def test_killed_at_any_moment_the_last_answered_edit_is_there_and_can_be_taken_back(shop: Path, tmp_path: Path) -> None:
    dice = random.Random(KILLS)
    (tmp_path / "other").mkdir()
    launcher = subprocess.Popen([sys.executable, "-c", LAUNCH, str(shop), str(tmp_path / "other")],
        stdin=subprocess.PIPE,
                                stdout=subprocess.PIPE, text=True)  # fmt: skip
    assert launcher.stdin is not None
    assert launcher.stdout is not None
    kills, cut, edits = 0, 0, 0
    number = 0
    try:
        while kills < KILLS:
            port = bench_server.free_port()
            launcher.stdin.write(f"{port}\n")
            launcher.stdin.flush()
            pid, key = 0, ""
            while not key:
                line = launcher.stdout.readline()
                assert line, "the launcher ended"
                pid = int(line.split()[1]) if line.startswith("pid ") else pid
                key = line.rpartition("key=")[2].strip() if "key=" in line else ""
            server = Server(launcher, port, key)  # type: ignore[arg-type]
            assert number_in(shop) >= number
            if kills % 4 == 3 and number > 2:  # what was answered before the kill can be taken back after it
                now = number_in(shop)
                assert server.ask("POST", "/part/undo", {"file": NAME}, {}).status == 303
                assert number_in(shop) == now - 1
                assert server.ask("POST", "/part/redo", {"file": NAME}, {}).status == 303
                assert number_in(shop) == now
            number = number_in(shop)
            end: threading.Timer | None = None
            answered = number
            try:
                while True:
                    wanted = answered + 1
                    form = {"op": "save", "table": "", "set.title": f"edit {wanted}"}
                    began = time.monotonic()
                    answer = server.ask("POST", "/part/edit", {"file": NAME}, form)
                    assert answer.status == 303, answer.text
                    answered, edits = wanted, edits + 1
                    if end is None:  # within the next few edits, however long one takes on this machine
                        soon = min(dice.uniform(0.0, 6.0) * (time.monotonic() - began), 1.0)
                        end = threading.Timer(soon, os.kill, (pid, signal.SIGKILL))
                        end.start()
            except (OSError, bench_server.http.client.HTTPException):
                kills += 1
            assert end is not None
            end.join()
            while (line := launcher.stdout.readline().strip()) != "ended":
                assert line, "the launcher ended"
            found = number_in(shop)  # whole: the old one or the new one, as the killed page left it
            assert found in (answered, answered + 1)
            cut += found != answered
            number = answered
    finally:
        launcher.kill()
        launcher.communicate()
    assert edits >= kills
    desk = Desk(Folder(shop))
    now = number_in(shop)
    assert now >= number
    assert litter(shop) == [] or all(time.time() - (shop / name).stat().st_mtime < 60 for name in litter(shop))
    for back in range(now, max(now - KEPT, 0), -1):
        assert number_in(shop) == back
        desk.undo(NAME)
    assert now > KEPT or (shop / NAME).read_text(encoding="utf-8") == PART
    desk.journal.close()


def test_a_page_that_is_told_to_end_ends_and_keeps_what_was_answered(shop: Path) -> None:
    server = bench_server.start(shop)
    assert (
        server.ask("POST", "/part/edit", {"file": NAME}, {"op": "save", "table": "", "set.title": "edit 1"}).status
        == 303
    )
    kept = {"field": "f-head-0-title", "text": "half typ", "keep": "1"}
    assert server.ask("POST", "/part/typed", {"file": NAME}, kept).status == 204
    assert (
        server.end(signal.SIGTERM) >= 0
    )  # it ended by itself, with its works and files closed; the signal did not end it
    assert number_in(shop) == 1
    journal = Journal(shop)
    assert journal.typed(NAME) == {"f-head-0-title": "half typ"}
    change = journal.last(NAME)
    assert change is not None
    assert change.before == PART
    assert read(shop / NAME) == change.after
    journal.close()
