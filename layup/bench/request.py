"""What a handler is asked, and the ways it can answer: a page, another page, a picture."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from layup.bench.desk import Desk, Sheet
from layup.bench.folder import Folder
from layup.bench.guard import MODES, Pairing
from layup.bench.rendering import environment
from layup.bench.running import Works
from layup.learn.folder import FILE

if TYPE_CHECKING:
    from starlette.datastructures import UploadFile
    from starlette.responses import Response

FLOWS = (("part", "Part"), ("choose", "Choose"), ("prepare", "Prepare"), ("weigh", "Weigh"), ("refit", "Refit"))
"""The five screens of the job, in its order."""


@dataclass
class Bench:
    """What every handler works with.

    Attributes:
        folder: The shop's.
        desk: Part files and what they come to.
        works: Work that takes long.
        pairing: The one device of the shop that may look in.
    """

    folder: Folder
    desk: Desk
    works: Works
    pairing: Pairing


@dataclass
class Asked:
    """One request: the file it is about, what the address and the form say, and the files sent with it.

    `guest` is what a paired device may do, "" on this machine. `root` is the word that the page lies under, `marks`
    what of it the browser shows; see `rendering.dressed`.
    """

    bench: Bench
    file: str
    query: Mapping[str, str]
    form: Mapping[str, str] = field(default_factory=dict)
    sent: Mapping[str, UploadFile] = field(default_factory=dict)
    path: str = ""
    root: str = ""
    marks: Mapping[str, str] = field(default_factory=dict)
    guest: str = ""

    @property
    def desk(self) -> Desk:
        """Part files and what they come to."""
        return self.bench.desk

    @property
    def folder(self) -> Folder:
        """The shop's."""
        return self.bench.folder


Handler = Callable[[Asked], "Response"]


def show(asked: Asked, template: str, /, status: int = 200, **words: object) -> Response:
    """A page from a template; every page knows the flows, the file it is about and the parts of the folder."""
    from starlette.responses import HTMLResponse

    from layup.bench.bar import bar_of

    flow = template.removesuffix(".html")
    words.setdefault("flow", flow)
    sheet = words.get("sheet")
    words.setdefault("bar", bar_of(asked.desk, sheet) if isinstance(sheet, Sheet) else None)
    words.setdefault("nav", asked.file)  # what the other flows are about, where it is not the file of this page
    text = environment().get_template(template).render(
        folder=asked.folder.root.name or str(asked.folder.root), flows=FLOWS, file=asked.file,
        parts=Later(asked.folder.parts), refits=Later(asked.folder.refits), said=asked.query.get("said", ""),
        wrong=words.pop("wrong", ""), link=link, guest=asked.guest, guest_may=MODES.get(asked.guest, ""),
        pairing={} if asked.guest else asked.bench.pairing.state, **words,
    )  # fmt: skip
    return HTMLResponse(text, status, {"x-version": version} if (version := getattr(sheet, "version", "")) else None)


class Later:
    """A list that is made when a template first asks for it: looking through the folder takes longer than a page."""

    def __init__(self, make: Callable[[], list[str]]) -> None:
        self._make = make
        self._made: list[str] | None = None

    def _list(self) -> list[str]:
        if self._made is None:
            self._made = self._make()
        return self._made

    def __iter__(self) -> Iterator[str]:
        return iter(self._list())

    def __len__(self) -> int:
        return len(self._list())


def link(path: str, **query: str) -> str:
    """An address with its query."""
    kept = {k: v for k, v in query.items() if v}
    return path + ("?" + urlencode(kept) if kept else "")


def go(path: str, **query: str) -> Response:
    """Send the browser to another page, so that a reload does nothing twice."""
    from starlette.responses import RedirectResponse

    return RedirectResponse(link(path, **query), 303)


def picture(data: bytes, kind: str) -> Response:
    """A picture; its own style sheet may speak, nothing else."""
    from starlette.responses import Response

    quiet = {"content-security-policy": "default-src 'none'; style-src 'unsafe-inline'"}
    return Response(data, media_type=kind, headers=quiet)


def record_home(asked: Asked, path: Path) -> Path:
    """The folder of the record: the nearest inside the shop's that has one, else the file's own.

    Raises:
        OutsideError: The record there is a link that leads out.
    """
    home = asked.folder.shop(path)
    if home is None:
        home = path.parent
        asked.folder.path(asked.folder.name(home / FILE))
    return home


def record_words(asked: Asked, path: Path, first: str = "weigh-in") -> tuple[str, str]:
    """Where the record lies, and what to know of one above the folder that is not used ("" for nothing).

    Args:
        asked: The request.
        path: Of the part file or refit file.
        first: What begins the record.
    """
    home = asked.folder.shop(path)
    if home is not None:
        place = f"in {asked.folder.name(home)}" if home != asked.folder.root else "at the top of this folder"
        return f"The shop's record is {FILE} {place}.", ""
    above = next((folder for folder in asked.folder.root.parents if (folder / FILE).is_file()), None)
    words = f"There is no record yet: the first {first} begins {FILE} beside {path.name}."
    if above is None:
        return words, ""
    return words, (
        f'A shop\'s record lies above this folder, in the folder "{above.name or "/"}". This page does not use it: it '
        "stays inside its own. To go on with that one, end this page and start it on that folder."
    )
