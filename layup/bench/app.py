"""The application: every address, one handler each, and the guard before them."""

from __future__ import annotations

import mimetypes
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from layup.bench.desk import Desk, Sheet
from layup.bench.folder import Folder
from layup.bench.guard import Guard
from layup.bench.rendering import HERE, colours, environment
from layup.bench.running import Works
from layup.errors import LayupError, OutsideError, StaleError

if TYPE_CHECKING:
    from starlette.requests import Request
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
    """

    folder: Folder
    desk: Desk
    works: Works


@dataclass
class Asked:
    """One request: the file it is about, what the address and the form say, and the files sent with it."""

    bench: Bench
    file: str
    query: Mapping[str, str]
    form: Mapping[str, str] = field(default_factory=dict)
    sent: Mapping[str, Any] = field(default_factory=dict)
    path: str = ""

    @property
    def desk(self) -> Desk:
        """Part files and what they come to."""
        return self.bench.desk

    @property
    def folder(self) -> Folder:
        """The shop's."""
        return self.bench.folder


Handler = Callable[[Asked], "Response"]


def show(asked: Asked, template: str, /, status: int = 200, **words: Any) -> Response:
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
        wrong=words.pop("wrong", ""), link=link, **words,
    )  # fmt: skip
    return HTMLResponse(text, status)


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


def build(folder: Path, key: str, port: int) -> Guard:
    """The application for a folder.

    Args:
        folder: The shop's.
        key: That the browser must bring.
        port: It answers on.
    """
    from starlette.applications import Starlette
    from starlette.exceptions import HTTPException
    from starlette.requests import ClientDisconnect
    from starlette.routing import Route

    from layup.bench import choose_page, home, part_page, prepare_page, refit_page, shape, weigh_page

    inside = Folder(folder)
    bench = Bench(inside, Desk(inside), Works(inside.plain))
    routes = [Route("/look/{name}", _look), Route("/look.css", _colours)]
    for module in (home, part_page, shape, choose_page, prepare_page, weigh_page, refit_page):
        for path, method, handler in module.ROUTES:
            routes.append(Route(path, _endpoint(bench, handler), methods=[method]))
    app = Starlette(
        routes=routes, exception_handlers={HTTPException: _refused, ClientDisconnect: _left, Exception: _broken}
    )
    app.state.bench = bench
    return Guard(app, key, port)


def _endpoint(bench: Bench, handler: Handler) -> Callable[[Request], Any]:
    from starlette.concurrency import run_in_threadpool

    async def endpoint(request: Request) -> Response:
        query = dict(request.query_params)
        form: dict[str, str] = {}
        sent: dict[str, Any] = {}
        if request.method == "POST":
            async with request.form(max_files=20, max_fields=400) as given:
                for name, value in given.multi_items():
                    if isinstance(value, str):
                        form[name] = value
                    elif value.filename:
                        sent[name] = value
                asked = Asked(bench, query.get("file", ""), query, form, sent, request.url.path)
                return await run_in_threadpool(_answer, handler, asked)
        asked = Asked(bench, query.get("file", ""), query, path=request.url.path)
        return await run_in_threadpool(_answer, handler, asked)

    return endpoint


def _answer(handler: Handler, asked: Asked) -> Response:
    """What a handler says; an error becomes a page that says it, with the way back."""
    try:
        return handler(asked)
    except StaleError as error:
        return show(asked, "sorry.html", 409, wrong=asked.folder.plain(str(error)), flow="")
    except OutsideError as error:
        return show(Asked(asked.bench, "", {}), "sorry.html", 403, wrong=str(error), flow="")
    except LayupError as error:
        return show(asked, "sorry.html", 422, wrong=asked.folder.plain(str(error)), flow="")


async def _refused(request: Request, error: Exception) -> Response:
    from starlette.exceptions import HTTPException
    from starlette.responses import PlainTextResponse

    status = error.status_code if isinstance(error, HTTPException) else 500
    said = {404: "There is no such page.", 405: "That can't be done here."}
    text = said.get(status) or (error.detail if isinstance(error, HTTPException) else "")
    return PlainTextResponse(text, status)


async def _left(request: Request, error: Exception) -> Response:
    """The browser went away in the middle of sending: nobody is there to be answered, and nothing is wrong here."""
    from starlette.responses import Response

    return Response(status_code=400)


async def _broken(request: Request, error: Exception) -> Response:
    """A fault of the program itself: said on the page, and in one line at the terminal."""
    import sys
    import traceback

    from starlette.responses import PlainTextResponse

    last = traceback.extract_tb(error.__traceback__)[-1]
    where = f"{Path(last.filename).name}, line {last.lineno}"
    print(f"A fault of the bench page itself: {type(error).__name__}: {error} ({where})", file=sys.stderr)
    return PlainTextResponse(
        "Something is wrong in the program itself, not in what you did. What was entered is saved; go back and go on. "
        f"({type(error).__name__} in {where})", 500,
    )  # fmt: skip


async def _colours(request: Request) -> Response:
    from starlette.responses import Response

    return Response(colours(), media_type="text/css")


async def _look(request: Request) -> Response:
    """The page's own style sheets and scripts."""
    from starlette.exceptions import HTTPException
    from starlette.responses import Response

    name = request.path_params["name"]
    if name not in {path.name for path in (HERE / "static").iterdir()}:
        raise HTTPException(404)
    kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
    return Response(
        (HERE / "static" / name).read_bytes(), media_type="text/javascript" if name.endswith(".js") else kind
    )
