"""What each part file comes to, kept at hand: its text, its faults, its prediction, and what the last change did.

The file on the disk is the truth: it is read again at every request, and a surface again only when its file or its
table changed. So an edit costs the computation and little more.
"""

from __future__ import annotations

import hashlib
import json
import re
import threading
import tomllib
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar
from weakref import WeakValueDictionary

from layup.bench.folder import Folder, files_of, named_files
from layup.bench.journal import Change, Journal, read
from layup.errors import Fault, FaultsError, LayupError, OutsideError, StaleError
from layup.files.reading import Json
from layup.partfile.lines import Path as KeyPath
from layup.partfile.lines import key_lines

if TYPE_CHECKING:
    from layup.laminate.process import Habits
    from layup.materials import Library
    from layup.partfile.model import Part, SurfaceEntry
    from layup.shape.surface import Surface
    from layup.weight.prediction import Prediction
    from layup.words import System

T = TypeVar("T")
BACK = 4
"""Changes looked back through for the last good weight. [-]"""


class Kept(Generic[T]):
    """The last few of something, by a key."""

    def __init__(self, most: int) -> None:
        self.most = most
        self._held: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: Hashable) -> T | None:
        """What is held, or None."""
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
        return None

    def put(self, key: Hashable, value: T) -> T:
        """Hold it, and let the oldest go."""
        with self._lock:
            self._held[key] = value
            while len(self._held) > self.most:
                self._held.popitem(last=False)
        return value


@dataclass
class Written:
    """One of our files as it stands.

    Attributes:
        name: As requests name it.
        path: Where it lies.
        text: What stands in it, line ends as they are.
        version: Of the text.
        data: Its tables as written; empty where it can't be read.
        faults: Everything wrong with it.
    """

    name: str
    path: Path
    text: str
    version: str
    data: dict[str, object]
    faults: tuple[Fault, ...]

    @cached_property
    def fault_keys(self) -> dict[KeyPath, Fault]:
        """Faults by the key on their line, so that a page can show each beside its field."""
        by_line = {line: path for path, line in key_lines(self.text.replace("\r\n", "\n")).items()}
        return {by_line[f.line]: f for f in self.faults if f.line is not None and f.line in by_line}

    def entries(self, table: str) -> list[dict[str, object]]:
        """Tables of a kind as written."""
        held: object = self.data
        for step in table.split("."):
            if isinstance(held, list):  # of several, each with tables of its own
                held = [one for e in held if isinstance(e, dict) and isinstance(e.get(step), list) for one in e[step]]
            else:
                held = held.get(step, []) if isinstance(held, dict) else []
        return [e if isinstance(e, dict) else {} for e in held] if isinstance(held, list) else []

    def value(self, *path: str | int) -> str:
        """A value as written, "" where there is none."""
        held: object = self.data
        for step in path:
            if isinstance(step, int):
                held = held[step] if isinstance(held, list) and step < len(held) else None
            else:
                held = held.get(step) if isinstance(held, dict) else None
        return "" if held is None else as_typed(held)


@dataclass
class Sheet(Written):
    """A part file as it stands.

    Attributes:
        prediction: None where there is a fault.
        state: Of the text, the files it names and the shop's record: the same name, the same answer.
        surface: The surface, where it could be read though something else is at fault.
    """

    prediction: Prediction | None
    surface: Surface | None
    state: str = ""

    @cached_property
    def part(self) -> Part:
        """All of it that holds as the model of a part file has it; what does not is None, or an entry not sound."""
        from layup.partfile.fields import holding
        from layup.partfile.model import Part

        return holding(Part, self.data)

    @property
    def system(self) -> System:
        """The units that results of the part print in, also while something else in it is wrong."""
        named = self.value("units")
        return "lb" if named == "lb" else "metric" if named == "metric" else "both"


def decimal_point(text: str) -> str:
    """A decimal comma where it has one meaning: 22,5 is 22.5; 1,250 and lists stay as they are.

    >>> decimal_point("22,5"), decimal_point("0,81 mm"), decimal_point("1,250 kg"), decimal_point("1,2,3")
    ('22.5', '0.81 mm', '1,250 kg', '1,2,3')
    """
    return re.sub(r"(?<![0-9.,])([0-9]+),([0-9]{1,2})(?![0-9.,])", r"\1.\2", text)


def as_typed(value: object) -> str:
    """A value of a part file as a person would type it into a field."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list):
        if all(isinstance(v, str) for v in value):
            return ", ".join(value)
        if all(isinstance(v, int | float) for v in value):
            return ", ".join(json.dumps(v) for v in value)
        return json.dumps(value, ensure_ascii=False)
    return str(value)


@dataclass(frozen=True)
class Cost:
    """The last change made on the page, and what it did.

    Attributes:
        change: The change.
        mass: Added to the weight of the new part; None where before or after can't be weighed. [kg]
        old: Added to the weight of what comes off; None likewise. [kg]
    """

    change: Change
    mass: float | None = None
    old: float | None = None


LARGE = 8_000_000
"""A surface whose file is larger is read beside the page the first time. [byte]"""


class Desk:
    """All part files of a folder, and what was computed for them."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self.journal = Journal(folder.root)
        self.journal.finish(folder)
        self._surfaces: Kept[Surface] = Kept(6)
        self._held: WeakValueDictionary[Hashable, Surface] = WeakValueDictionary()
        self._sheets: Kept[Sheet] = Kept(24)
        self._habits: Kept[Habits] = Kept(4)
        self._locks: dict[str, threading.RLock] = {}
        self._guard = threading.Lock()
        self._beside = ThreadPoolExecutor(4, "beside")
        self._far: dict[str, str] = {}
        self._opened: dict[str, Surface] = {}

    def lock(self, name: str) -> threading.RLock:
        """One lock a part file: edits of one file follow each other."""
        with self._guard:
            return self._locks.setdefault(name, threading.RLock())

    def sheet(self, name: str) -> Sheet:
        """A part file as it stands on the disk.

        Raises:
            LayupError: There is no such file in the folder.
        """
        path = self.path(name)
        with self.lock(name):
            return self._sheet(name, path, read(path))

    def reading(self, name: str) -> str:
        """How far the first reading of a part with a large surface is; "" for one that is known or small.

        The first call begins it, beside the page: a page can be shown at once.
        """
        path = self.path(name)
        text = read(path)
        data = tables_of(text)
        outside = {key for key, _ in named_files(data, self.folder, path.parent)}
        sizes = {file: _stamp(path.parent / file) for key, file in files_of(data) if key not in outside}
        large = max(((stamp[1], file) for file, stamp in sizes.items() if stamp), default=(0, ""))
        if large[0] < LARGE or self._sheets.get((name, version_of(text), self._around(path, data))) is not None:
            return ""
        with self._guard:
            begun = name in self._far
            words = self._far.setdefault(name, f"{large[1]}, {large[0] / 1e6:.0f} MB, is being read")
        if not begun:
            self._beside.submit(self.sheet, name).add_done_callback(lambda done: self._known(name, done))
        return words

    def _known(self, name: str, done: Future[Sheet]) -> None:
        self._opened.pop(name, None)
        if done.exception() is None:
            del self._far[name]
        else:
            self._far[name] = ""  # the page itself meets what went wrong, and says it

    def opened(self, name: str) -> Surface | None:
        """The surface of a part whose weight is still being worked out; None where nothing waits."""
        return self._opened.get(name)

    def path(self, name: str) -> Path:
        """Where a file lies that the page may change: one of ours, in a folder that is not hidden.

        Raises:
            OutsideError: It is not.
        """
        path = self.folder.path(name)
        if path.suffix.casefold() != ".toml" or any(part.startswith(".") for part in name.split("/")):
            raise OutsideError("that is no part file of this shop's folder. Name one that ends in .toml")
        return path

    def edit(self, name: str, base: str, words: str | Callable[[], str], change: Callable[[str], str]) -> Sheet:
        """Change a part file and note it.

        Args:
            name: The part file.
            base: Version the change was made on.
            words: What is done, as a person says it; asked for after the change where only that knows.
            change: From the text to the new text.

        Returns:
            The part file as it stands now.

        Raises:
            StaleError: The file was changed since.
            LayupError: The change can't be made or not be kept.
        """
        path = self.path(name)
        with self.lock(name):
            text = self.edit_text(name, base, words, change, lambda new: self._sheet(name, path, new))
            return self._sheet(name, path, text)

    def edit_text(
        self,
        name: str,
        base: str,
        words: str | Callable[[], str],
        change: Callable[[str], str],
        meanwhile: Callable[[str], object] = len,
    ) -> str:
        """Change any text file of the folder and note it, as `edit` does a part file; gives the new text.

        `meanwhile` is called with the new text while the disk is at work.
        """
        path = self.path(name)
        with self.lock(name), self.journal.alone():
            text = read(path)
            if base and base != version_of(text):
                raise StaleError(
                    "The file was changed in another window or by another program. The page shows it as it is now; "
                    "your last change was not made"
                )
            windows = "\r\n" in text
            try:
                new = change(text.removeprefix("\ufeff").replace("\r\n", "\n"))
            except RecursionError:
                raise LayupError("that holds too many lists within lists. Nothing was changed") from None
            new = new.replace("\n", "\r\n") if windows else new
            if new != text:
                said = words if isinstance(words, str) else words()
                computed = self._beside.submit(meanwhile, new)
                self.journal.write(path, name, text, new, said)
                computed.result()
            return new

    def undo(self, name: str, again: bool = False) -> str:
        """Take the last change of a part file back, or make it again; gives its words."""
        path = self.path(name)
        with self.lock(name):
            return self.journal.undo(path, name, read(path), again)

    def last_change(self, sheet: Sheet) -> Cost | None:
        """The last change made on the page, if it is what the file holds, and what it did."""
        change = self.journal.last(sheet.name)
        if change is None or change.after != sheet.text:
            return None
        before = self._sheet(sheet.name, sheet.path, change.before).prediction
        now = sheet.prediction
        if now is None or before is None:
            return Cost(change)
        old = [one.replaced.mass.mean if one.replaced else 0.0 for one in (before, now)]
        return Cost(change, now.mass.mean - before.mass.mean, old[1] - old[0])

    def last_good(self, sheet: Sheet) -> Prediction | None:
        """What the part came to before something was wrong with it; None where that isn't known any more."""
        for text in self.journal.before(sheet.name, BACK):
            found = self._sheet(sheet.name, sheet.path, text).prediction
            if found is not None:
                return found
        return None

    def habits(self, path: Path, data: dict[str, object]) -> Habits:
        """What the shop's scale has taught, of the nearest record inside the folder.

        Args:
            path: Where the part file lies.
            data: Its tables as written: weigh-ins are taken by the materials it names, those of the folder alone.
        """
        home = self.folder.shop(path)
        if home is None:
            return {}
        from layup.learn.calibrate import habits_near
        from layup.learn.folder import FILE

        tables = self._tables(path, data)  # a corrected table changes what the weigh-ins say
        key = (home, path, *(_stamp(home / (FILE + end)) for end in ("", "-wal")), *((t, _stamp(t)) for t in tables))
        kept = self._habits.get(key)
        return kept if kept is not None else self._habits.put(key, habits_near(path, home, _library(tables)))

    def library(self, sheet: Sheet) -> Library:
        """The tables with the shop's own over them, where those can be read."""
        if sheet.prediction is not None:
            return sheet.prediction.job.library
        return _library(self._tables(sheet.path, sheet.data))

    def _tables(self, path: Path, data: dict[str, object]) -> list[Path]:
        """Tables of materials that a part file names, those that lie in the folder."""
        named = data.get("materials")
        outside = {name for _, name in named_files({"materials": named}, self.folder, path.parent)}
        names = [t for t in named if isinstance(t, str) and t not in outside] if isinstance(named, list) else []
        return [path.parent / t for t in names if (path.parent / t).is_file()]

    def _sheet(self, name: str, path: Path, text: str) -> Sheet:
        data = tables_of(text)
        version = version_of(text)
        key = (name, version, self._around(path, data))
        kept = self._sheets.get(key)
        if kept is not None:
            return kept
        made = self._work_out(name, path, text, version, data)
        made.state = hashlib.sha256(repr(key).encode()).hexdigest()[:16]
        return self._sheets.put(key, made)

    def _around(self, path: Path, data: dict[str, object]) -> tuple[object, ...]:
        """What a prediction rests on besides the text: the files it names and the shop's record."""
        from layup.learn.folder import FILE

        home = self.folder.shop(path)
        record = tuple(_stamp(home / (FILE + end)) for end in ("", "-wal")) if home else ()
        outside = {key for key, _ in named_files(data, self.folder, path.parent)}
        named = [file for key, file in files_of(data) if key not in outside]
        return (record, tuple(_stamp(path.parent / file) for file in named))

    def _work_out(self, name: str, path: Path, text: str, version: str, data: dict[str, object]) -> Sheet:
        from layup.partfile.read import read_part
        from layup.weight.prediction import predict

        surface: list[Surface] = []

        def opener(entry: SurfaceEntry, folder: Path, areas: set[str]) -> Surface:
            surface.append(self._open(entry, folder, areas))
            if name in self._far:
                self._far[name] = f"{surface[0].whole.triangles:,} triangles are read; now its zones and its weight"
                self._opened[name] = surface[0]
            return surface[0]

        faults: tuple[Fault, ...] = ()
        prediction = None
        outside = named_files(data, self.folder, path.parent)
        try:
            if outside:
                lines = key_lines(text)
                remedy = "Copy the file into this shop's folder, and name the copy."
                raise FaultsError(
                    Fault(path.name, lines.get(key), ", ".join(map(str, key)), f'"{file}" is not in the folder', remedy)
                    for key, file in outside
                )
            prediction = predict(read_part(path, opener=opener, text=text), habits=self.habits(path, data))
        except FaultsError as error:
            faults = tuple(
                replace(f, wrong=self.folder.plain(f.wrong), remedy=self.folder.plain(f.remedy)) for f in error.faults
            )
        except RecursionError:
            faults = (Fault(path.name, None, "", "it holds too many lists within lists to be read"),)
        except LayupError as error:
            faults = (Fault(path.name, None, "", self.folder.plain(str(error)).rstrip(".")),)
        return Sheet(
            name=name,
            path=path,
            text=text,
            version=version,
            data=data,
            faults=faults,
            prediction=prediction,
            surface=surface[0] if surface else None,
        )

    def _open(self, entry: SurfaceEntry, folder: Path, areas: set[str]) -> Surface:
        from layup.partfile.opened import open_surface

        files = [getattr(entry, key) for key in ("mesh", "step", "outline", "photo", "stations", "girths")]
        stamps = tuple(_stamp(folder / file) for file in files if isinstance(file, str))
        table = entry.model_dump_json(exclude={"warp", "drape", "start", "area_tolerance"})
        key = (str(folder), table, tuple(sorted(areas)), stamps)
        # one that a sheet still holds is taken again, or every edit on one of many parts would leave a mesh behind
        kept = self._surfaces.get(key) or self._held.get(key) or open_surface(entry, folder, areas)
        self._held[key] = kept
        return self._surfaces.put(key, kept)


def version_of(text: str) -> str:
    """A short name of a text: the same text, the same name."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def tables_of(text: str) -> Json:
    """The tables of a part file as written; none where it can't be read."""
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except (ValueError, RecursionError):  # also a number of thousands of digits
        return {}


def _library(tables: list[Path]) -> Library:
    from layup.materials import load_library

    try:
        return load_library(tables)
    except LayupError:  # said where the part is weighed
        return load_library()


def _stamp(path: Path) -> tuple[int, int, int] | None:
    """When and how a file was last touched: also where another was put in its place with its own old date."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    return found.st_mtime_ns, found.st_size, found.st_ctime_ns
