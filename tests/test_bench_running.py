"""Work beside the page: it can be stopped, it can die, and no page that ended leaves one behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from layup.bench import running
from layup.bench.running import MOST, WAITING, Work, Works
from layup.errors import LayupError

Tell = Callable[[str], None]


def adds(one: int, two: int, *, tell: Tell) -> int:
    tell("adding")
    return one + two


def waits(path: str, *, tell: Tell) -> str:
    """Says its number in a file, and gives the best so far when it is stopped."""
    Path(path).write_text(str(os.getpid()))
    tell("waiting")
    try:
        time.sleep(600)
    except KeyboardInterrupt:
        return "the best so far"
    return "the end"


def stopped_at_once(*, tell: Tell) -> None:
    time.sleep(600)


def deaf(path: str, *, tell: Tell) -> None:
    """Does not hear Ctrl-C."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Path(path).write_text(str(os.getpid()))
    time.sleep(600)


def with_a_program(path: str, *, tell: Tell) -> None:
    """Has a program of its own, in a session of its own, as the search for a layout of the cloth has."""
    program = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"], start_new_session=True)
    try:
        Path(path).write_text(str(program.pid))
        time.sleep(600)
    finally:
        program.kill()
        program.wait()


def dies(*, tell: Tell) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def exits(*, tell: Tell) -> None:
    os._exit(3)


def is_wrong(*, tell: Tell) -> None:
    raise ZeroDivisionError("/home/somebody/secret")


def says_why(*, tell: Tell) -> None:
    raise LayupError("the cloth is too narrow")


def needs_more_memory(*, tell: Tell) -> None:
    raise MemoryError


def floods(count: int, *, tell: Tell) -> int:
    for number in range(count):
        tell(f"{number} " * 1000)
    return count


def cannot_be_sent(*, tell: Tell) -> Any:
    return lambda: 1


class Breaks:
    def __reduce__(self) -> Any:
        return (breaks, ())


def breaks() -> None:
    raise ValueError("it can't be taken apart")


def cannot_be_read(*, tell: Tell) -> Any:
    return Breaks()


@pytest.fixture
def works() -> Iterator[Works]:
    made = Works(lambda text: text.replace("/secret", ""))
    yield made
    made.close()


def until(true: Callable[[], Any], seconds: float = 120.0) -> Any:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = true()
        if found:
            return found
        time.sleep(0.01)
    raise AssertionError("it does not happen")


def ended(work: Work) -> Work:
    until(lambda: work.ended)
    return work


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{pid}/stat")
    try:
        return not stat.exists() or stat.read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def number(path: Path) -> int:
    """The number of a process, once it has said it."""
    return int(until(lambda: path.exists() and path.read_text()))


def test_it_gives_the_answer_and_a_second_one_is_not_begun(works: Works) -> None:
    work = works.start(("sum", "a"), adds, 2, 3)
    assert works.start(("sum", "a"), adds, 2, 3) is work
    ended(work)
    assert (work.state, work.answer) == ("done", 5)
    assert works.start(("sum", "a"), adds, 2, 3) is work
    assert works.about(("sum", "a")) is work
    assert works.newest("sum") is work
    seconds = work.lasted
    time.sleep(0.02)
    assert work.lasted == seconds


def test_it_can_be_stopped_with_the_best_so_far(works: Works, tmp_path: Path) -> None:
    work = works.start(("w",), waits, str(tmp_path / "pid"))
    pid = number(tmp_path / "pid")
    until(lambda: work.words == "waiting")
    works.stop(work.name)
    works.stop(work.name)
    ended(work)
    assert work.answer in ("the best so far", "Stopped before there was anything to show.")
    assert work.stopped
    until(lambda: not alive(pid))
    works.stop(work.name)
    works.stop("no such work")
    assert works.start(("w",), adds, 1, 1) is not work


def test_stopped_while_it_is_being_begun_it_ends_in_words_and_without_a_mess(works: Works, capfd: Any) -> None:
    for wait in (0.0, 0.02, 0.1):
        work = works.start(("s", str(wait)), stopped_at_once)
        until(lambda work=work: work.state != "waiting")
        time.sleep(wait)
        works.stop(work.name)
        ended(work)
        assert work.state == "failed"
        assert work.answer.startswith("Stopped")
    assert "Traceback" not in capfd.readouterr().err


@pytest.mark.parametrize(
    ("function", "words"),
    [
        (dies, "It ended without an answer: perhaps the memory ran out."),
        (exits, "It ended without an answer: perhaps the memory ran out."),
        (says_why, "the cloth is too narrow"),
        (needs_more_memory, "There is not enough memory for it on this machine."),
        (is_wrong, "Something is wrong in the program itself (ZeroDivisionError in test_bench_running.py, line "),
        (cannot_be_sent, "Something is wrong in the program itself ("),
        (cannot_be_read, "Its answer could not be read (ValueError)."),
    ],
)
def test_what_goes_wrong_is_said_and_the_next_one_runs(works: Works, function: Any, words: str, capfd: Any) -> None:
    work = ended(works.start(("x",), function))
    assert work.state == "failed"
    assert work.answer.startswith(words)
    assert "/home" not in work.answer
    assert ended(works.start(("x",), adds, 1, 1)).answer == 2
    assert "Traceback" not in capfd.readouterr().err


def test_arguments_that_cannot_be_sent_do_not_leave_it_running_for_ever(works: Works) -> None:
    work = ended(works.start(("x",), adds, lambda: 1, 2))
    assert work.state == "failed"
    assert work.answer.startswith("It could not be begun")
    assert ended(works.start(("y",), adds, 1, 1)).answer == 2


def test_a_flood_of_words_is_thinned_out(works: Works) -> None:
    work = works.start(("f",), floods, 200_000)
    seen = set()
    while not work.ended:
        seen.add(len(work.words))
        time.sleep(0.005)
    assert (work.state, work.answer) == ("done", 200_000)
    assert max(seen) <= 400


def test_no_more_than_so_many_run_and_no_more_than_so_many_wait(works: Works, tmp_path: Path) -> None:
    first = [works.start(("w", str(n)), waits, str(tmp_path / f"pid{n}")) for n in range(MOST)]
    until(lambda: all(work.state == "running" for work in first))
    waiting = [works.start(("w", str(n)), waits, str(tmp_path / f"pid{n}")) for n in range(MOST, MOST + WAITING)]
    with pytest.raises(LayupError, match="wait already"):
        works.start(("one more",), adds, 1, 1)
    time.sleep(0.1)
    assert {work.state for work in waiting} == {"waiting"}
    for work in waiting[1:]:
        works.stop(work.name)
        assert (work.state, work.answer) == ("failed", "Stopped before it began.")  # at once, not when its turn comes
    number(tmp_path / "pid0")
    works.stop(first[0].name)
    until(lambda: waiting[0].state == "running")
    for work in (*first, waiting[0]):
        works.stop(work.name)
        ended(work)
    assert not (tmp_path / f"pid{MOST + 1}").exists()


def test_old_answers_go(works: Works, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "KEPT", 2)
    names = [ended(works.start(("k", str(n)), adds, n, n)).name for n in range(4)]
    works.start(("k", "last"), adds, 1, 1)
    assert works.get(names[0]) is None
    assert works.get(names[3]) is not None


def test_when_the_page_ends_every_work_ends_with_it(works: Works, tmp_path: Path) -> None:
    works.start(("a",), deaf, str(tmp_path / "deaf"))
    works.start(("b",), with_a_program, str(tmp_path / "program"))
    later = works.start(("c",), waits, str(tmp_path / "later"))
    pids = [number(tmp_path / name) for name in ("deaf", "program")]
    works.close()
    until(lambda: not any(alive(pid) for pid in pids))
    time.sleep(0.2)
    assert not (tmp_path / "later").exists()  # nothing is begun in the place of what was ended
    assert later.state in ("waiting", "failed")


PAGE = """
import sys, time
sys.path.insert(0, sys.argv[1])
import test_bench_running as tests
from layup.bench.running import Works
if __name__ == "__main__":
    works = Works()
    works.start(("a",), tests.deaf, sys.argv[2])
    works.start(("b",), tests.with_a_program, sys.argv[3])
    print("begun", flush=True)
    time.sleep(600)
"""


def test_a_page_that_is_killed_leaves_no_work_behind(tmp_path: Path) -> None:
    script = tmp_path / "page.py"
    script.write_text(PAGE)
    files = [tmp_path / name for name in ("deaf", "program")]
    page = subprocess.Popen([sys.executable, str(script), str(Path(__file__).parent), *map(str, files)],
                            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # fmt: skip
    pids = [number(file) for file in files]
    assert all(alive(pid) for pid in pids)
    page.kill()
    page.wait()
    until(lambda: not any(alive(pid) for pid in pids), running.LAST + 8.0)
