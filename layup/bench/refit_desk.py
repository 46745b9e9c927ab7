"""What a refit file comes to: read as it stands, its part files from the desk, so that an edit costs little."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from layup.bench.desk import Written, tables_of, version_of
from layup.bench.folder import inside
from layup.bench.journal import read
from layup.bench.labels import plain
from layup.bench.request import Asked
from layup.errors import Fault, FaultsError, LayupError

if TYPE_CHECKING:
    from layup.learn.store import Store
    from layup.refit.job import RefitJob
    from layup.refit.ledger import Ledger
    from layup.refit.loading import Loading
    from layup.refit.record_words import Kept
    from layup.weight.prediction import Prediction

_PLACES = (
    ("Leave --as-of out to see the ledger as it stands", "Leave it empty to see the ledger as it stands"),
    ("`layup ledger history` lists the entries", 'The entries stand under "History"'),
    ("`layup ledger history` lists them", 'They stand under "History"'),
)


@dataclass
class RefitSheet(Written):
    """A refit file as it stands.

    Attributes:
        job: None where there is a fault.
    """

    job: RefitJob | None

    @property
    def kept(self) -> Kept:
        """Units of the record."""
        return self.job.refit.units if self.job else "lb"


def refit_sheet(asked: Asked, name: str) -> RefitSheet:
    """A refit file as it stands on the disk.

    Raises:
        LayupError: There is no such file in the folder.
    """
    path = asked.desk.path(name)
    text = read(path)
    job, faults = try_text(asked, path, text)
    plain = asked.folder.plain
    faults = tuple(replace(f, wrong=plain(f.wrong), remedy=plain(f.remedy)) for f in faults)
    return RefitSheet(
        name=name, path=path, text=text, version=version_of(text), data=tables_of(text), faults=faults, job=job
    )


def try_text(asked: Asked, path: Path, text: str) -> tuple[RefitJob | None, tuple[Fault, ...]]:
    """What a text would be as this refit file; nothing is written.

    Returns:
        The job, or what is wrong with it.
    """
    from layup.refit.refitfile import read_refit

    equipment = tables_of(text).get("equipment")
    if isinstance(equipment, str) and not inside(path.parent / equipment, asked.folder.root):
        return None, (Fault(path.name, None, "equipment", f'"{equipment}" lies outside the folder',
                            "Copy the list into this shop's folder, and name the copy."),)  # fmt: skip
    habits = asked.desk.habits(path, tables_of(text))
    try:
        with tempfile.TemporaryDirectory() as scratch:
            copy = Path(scratch) / path.name
            copy.write_bytes(text.encode())
            return read_refit(copy, path.parent, habits, _predicting(asked, path, habits)), ()
    except FaultsError as error:
        return None, error.faults
    except RecursionError:
        return None, (Fault(path.name, None, "", "it holds too many lists within lists to be read"),)
    except LayupError as error:
        return None, (Fault(path.name, None, "", str(error).rstrip(".")),)


def _predicting(asked: Asked, refit: Path, habits: Any) -> Callable[[Path], Prediction]:
    """Part files from the desk, by the habits of the refit's own record as `layup ledger` has them."""
    home = asked.folder.shop(refit)

    def predicted(part: Path) -> Prediction:
        from layup.weight.prediction import predict

        path = Path(os.path.normpath(part))
        if not inside(path, asked.folder.root) or not path.is_relative_to(asked.folder.root):
            raise LayupError(f'"{part.name}" lies outside the folder. Copy it in, and name the copy')
        if not path.is_file():
            raise LayupError(f'there is no part file "{part.name}" beside the refit file')
        sheet = asked.desk.sheet(asked.folder.name(path))
        if sheet.prediction is None:
            raise FaultsError(sheet.faults)
        if asked.folder.shop(path) == home:
            return sheet.prediction
        return predict(sheet.prediction.job, habits=habits)

    return predicted


@contextmanager
def store_of(asked: Asked, path: Path) -> Iterator[Store | None]:
    """The record where there is one, open; nothing is made."""
    from layup.learn.store import find_store

    home = asked.folder.shop(path)
    store = find_store(home) if home is not None else None
    try:
        yield store
    finally:
        if store is not None:
            store.close()


@contextmanager
def opened(
    asked: Asked, sheet: RefitSheet, as_of: str = ""
) -> Iterator[tuple[RefitJob, Ledger, Loading | None, Store | None]]:
    """The refit file, its ledger as it stands or stood, and its load cases.

    Raises:
        LayupError: The file has faults, or there was no ledger then, or nothing is left of the aircraft.
    """
    from layup.learn.moments import moment_of
    from layup.refit.ledger import read_ledger
    from layup.refit.loading import load_cases

    if sheet.job is None:
        raise LayupError(plain(faults_words(sheet.faults)))
    with store_of(asked, sheet.path) as store:
        ledger = read_ledger(sheet.job, store, moment_of(as_of or None))
        yield sheet.job, ledger, load_cases(sheet.job, ledger), store


def on_page(text: str) -> str:
    """What the ledger says of a moment, with the page's own places instead of the command's."""
    for command, page in _PLACES:
        text = text.replace(command, page)
    return text


def faults_words(faults: tuple[Fault, ...]) -> str:
    """Faults in a row, for the line at the head of a page."""
    return " ".join(f"{f.place or f.file}: {f.wrong}. {f.remedy}".strip() for f in faults)
