"""The application: every address, one handler each, and the guard before them."""

from __future__ import annotations

import gzip
import mimetypes
import secrets
import signal
import threading
import time
import webbrowser
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from layup.bench.desk import Desk
from layup.bench.folder import Folder
from layup.bench.guard import Guard, Pairing, listen
from layup.bench.rendering import HERE, colours, dressed
from layup.bench.request import Asked, Bench, Handler, show
from layup.bench.running import Works
from layup.errors import LayupError, OutsideError, StaleError
from layup.files.systems import few_arenas, give_back

if TYPE_CHECKING:
    from starlette.datastructures import UploadFile
    from starlette.requests import Request
    from starlette.responses import Response


PART_PAGES = ("/part", "/choose", "/prepare", "/weigh")
"""Pages of one part: the first time a large surface is read, they say so at once."""
LEAST_PACKED = 1500
"""Below that packing a page saves nothing. [byte]"""


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
    app = Starlette(exception_handlers={HTTPException: _refused, ClientDisconnect: _left, Exception: _broken})
    bench = Bench(inside, Desk(inside), Works(inside.plain), Pairing(app))
    app.routes.extend((Route("/look/{name}", _look), Route("/look.css", _colours)))
    for module in (home, part_page, shape, choose_page, prepare_page, weigh_page, refit_page):
        for path, method, handler in module.ROUTES:
            app.routes.append(Route(path, _endpoint(bench, handler), methods=[method]))
    app.state.bench = bench
    return Guard(app, key, port)


def _endpoint(bench: Bench, handler: Handler) -> Callable[[Request], Awaitable[Response]]:
    from starlette.concurrency import run_in_threadpool

    async def endpoint(request: Request) -> Response:
        query, told = dict(request.query_params), request.headers.get("x-marks", "")
        marks = dict(one.split("=", 1) for one in told.split(",") if "=" in one)
        root = request.scope.get("bench_root", "")
        asked = Asked(
            bench,
            query.get("file", ""),
            query,
            path=request.url.path,
            root=root,
            marks=marks,
            guest=request.scope.get("bench_guest", ""),
        )
        if request.method != "POST":
            return await run_in_threadpool(_sent, handler, asked, request.headers)
        form: dict[str, str] = {}
        sent: dict[str, UploadFile] = {}
        async with request.form(max_files=20, max_fields=400) as given:
            for name, value in given.multi_items():
                if isinstance(value, str):
                    form[name] = value
                elif value.filename:
                    sent[name] = value
            return await run_in_threadpool(_sent, handler, replace(asked, form=form, sent=sent), request.headers)

    return endpoint


def _sent(handler: Handler, asked: Asked, headers: Mapping[str, str]) -> Response:
    """An answer as it goes out: of a page only what is new to the browser, and that packed."""
    response = _answer(handler, asked)
    _tidy()  # what computes much leaves much behind
    if response.media_type == "text/html" and "content-disposition" not in response.headers:
        body = dressed(bytes(response.body).decode(), asked.root, asked.marks).encode()
        if "gzip" in headers.get("accept-encoding", "") and len(body) > LEAST_PACKED:
            body = gzip.compress(body, 9, mtime=0)
            response.headers["content-encoding"], response.headers["vary"] = "gzip", "accept-encoding"
        response.body = body
        response.headers["content-length"] = str(len(body))
    return response


TIDIED = 2.0
"""Memory is given back to the system this often at most. [s]"""
_tidied = [0.0]


def _tidy() -> None:
    if time.monotonic() - _tidied[0] > TIDIED:
        _tidied[0] = time.monotonic()
        give_back()


def _answer(handler: Handler, asked: Asked) -> Response:
    """What a handler says; an error becomes a page that says it, with the way back."""
    try:
        if asked.path in PART_PAGES and asked.file and not asked.form and not asked.marks:
            words = asked.desk.reading(asked.file)
            if words:
                return show(asked, "reading.html", flow=asked.path.strip("/"), words=words, root=asked.root)
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
        f"({type(error).__name__} in {where})",
        500,
    )


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


def serve(folder: Path, port: int | None, open_browser: bool, say: Callable[[str], None]) -> None:
    """Serve the page until Ctrl-C.

    Args:
        folder: The shop's.
        port: None for the usual one.
        open_browser: Whether to open it.
        say: Prints a line.

    Raises:
        LayupError: The folder is not there, or the port is taken.
    """
    import uvicorn

    from layup.bench.home import ready

    if not folder.is_dir():
        raise LayupError(f'there is no folder "{folder}". Name the folder that holds your part files')
    few_arenas()
    made = listen(port)
    number = made.getsockname()[1]
    key = secrets.token_urlsafe(24)
    address = f"http://127.0.0.1:{number}/?key={key}"
    guard = build(folder, key, number)
    server = uvicorn.Server(uvicorn.Config(guard, log_level="critical", access_log=False, server_header=False,
                                           timeout_graceful_shutdown=2, lifespan="off", ws="none",
                                           proxy_headers=False))  # fmt: skip
    for name in ("SIGTERM", "SIGHUP"):  # told to end, or the terminal was closed: the same as Ctrl-C
        if hasattr(signal, name) and threading.current_thread() is threading.main_thread():
            signal.signal(getattr(signal, name), signal.default_int_handler)
    say(f"The bench page: {address}")
    say("Open that whole address on this machine. It is saved as you go; Ctrl-C here ends it.")
    threading.Thread(target=ready, daemon=True).start()
    if open_browser:
        threading.Timer(0.4, webbrowser.open, (address,)).start()
    try:
        server.run(sockets=[made])
    finally:
        guard.close()
        made.close()
