"""Who may speak to the page: this machine's own browser, on the page's own address, with the key of this start.

A page of another site can make a browser send requests here; its Origin gives it away. A name that another site lets
point to this machine gives itself away by its Host. Neither knows the key.

A browser sends a cookie to every server of this machine, whatever its port (RFC 6265, 8.5, from memory). So the key is
kept for one path only, a word made from the key: another server here would have to be asked for that path to see it.
"""

from __future__ import annotations

import hashlib
import hmac
import time
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import parse_qs, quote, urlencode

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]

LARGEST_UPLOAD = 600_000_000
"""Of a mesh, a drawing or a photograph. [byte]"""
LARGEST_FORM = 1_000_000
"""Of everything else. [byte]"""
UPLOADS = ("/new/file", "/part/file")
"""Where a file may be sent."""
ONCE = {"host", "origin", "content-length", "transfer-encoding", "content-type", "cookie", "sec-fetch-site"}
"""What a request may say once only: said twice, two readers could take it two ways."""
PATIENCE = 20.0
"""How long a body that is too large is listened to, so that the browser hears why it was refused. [s]"""

HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


class Guard:
    """Stands before the application and refuses what is not from its own page."""

    def __init__(self, app: Callable[[Scope, Receive, Send], Awaitable[None]], key: str, port: int) -> None:
        self.app = app
        self.key = key
        self.cookie = f"bench-{port}"
        self.word = "/" + hashlib.blake2s(b"path " + key.encode(), digest_size=9).hexdigest()
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}", f"[::1]:{port}"}
        if port == 80:
            self.hosts |= {"127.0.0.1", "localhost", "[::1]"}
        self.origins = {f"http://{host}" for host in self.hosts}

    def close(self) -> None:
        """End what runs beside the page, and close its files."""
        bench = self.app.state.bench  # type: ignore[attr-defined]  # the application `layup.bench.app` builds
        bench.works.close()
        bench.desk.journal.close()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers: dict[str, str] = {}
        twice = set()
        for name, value in scope["headers"]:
            word = name.decode("latin-1").casefold()
            if word in headers:
                twice.add(word)
            headers[word] = value.decode("latin-1")
        refused = self._refused(scope, headers, twice)
        if refused:
            await _say(send, 403, refused)
            return
        query = parse_qs(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        if "key" in query and scope["method"] == "GET":
            await self._let_in(scope, query, send)
            return
        if scope["method"] not in ("GET", "HEAD", "POST"):
            await _say(send, 405, "That can't be done here.", {"allow": "GET, HEAD, POST"})
            return
        if not self._known(headers.get("cookie", "")):
            await _say(
                send,
                403,
                "This page was opened without its key. Open the whole address that `layup bench` "
                "printed in the terminal; each start has a new one.",
            )
            return
        files = headers.get("content-type", "").casefold().startswith("multipart/form-data")
        limit = LARGEST_UPLOAD if scope["path"].removeprefix(self.word) in UPLOADS and files else LARGEST_FORM
        length = headers.get("content-length", "0")
        told = int(length) if length.isascii() and length.isdigit() and len(length) < 16 else limit + 1
        if told > limit:
            await _hear_out(receive, limit)
            await _say(send, 413, _too_large(limit))
            return
        under = scope["path"].startswith(self.word + "/")
        path = scope["path"].removeprefix(self.word) if under else scope["path"]
        scope = {**scope, "path": path, "bench_root": self.word if under else ""}
        await self._pass_on(scope, receive, send, limit)

    def _refused(self, scope: Scope, headers: dict[str, str], twice: set[str]) -> str:
        """Why a request is not from this page; "" if it may be."""
        if headers.get("host", "").casefold() not in self.hosts or twice & ONCE:
            return "This page answers only on this machine's own address, the one `layup bench` printed."
        if "content-length" in headers and "transfer-encoding" in headers:
            return "The request says its length in two ways. Open the page again in a current browser."
        origin, site = headers.get("origin"), headers.get("sec-fetch-site", "none")
        if origin is not None and origin.casefold() not in self.origins:
            return "Another site asked for this. The bench page takes nothing from other sites."
        if scope["method"] not in ("GET", "HEAD"):
            if origin is None:
                return "The browser did not say where this came from. Open the page again in a current browser."
        elif site not in ("none", "same-origin") and headers.get("sec-fetch-mode") != "navigate":
            return "Another site asked for this. The bench page gives nothing to other sites."
        return ""

    def _known(self, cookie: str) -> bool:
        """Whether the key is among the cookies; what another page of this machine put beside it does no harm."""
        given = [word.strip().partition("=") for word in cookie.split(";")]
        known = [
            hmac.compare_digest(value.encode(), self.key.encode()) for name, _, value in given if name == self.cookie
        ]
        return any(known)

    async def _let_in(self, scope: Scope, query: dict[str, list[str]], send: Send) -> None:
        """Take the key out of the address and leave it with the browser."""
        if not hmac.compare_digest(query["key"][0].encode(), self.key.encode()):
            await _say(send, 403, "This address is of an earlier start. Open the one that `layup bench` printed last.")
            return
        rest = urlencode([(k, v) for k, values in query.items() if k != "key" for v in values])
        path = quote(scope["path"].removeprefix(self.word))  # no line end, no backslash: nothing that leads elsewhere
        to = self.word + (path if path.startswith("/") else "/") + (f"?{rest}" if rest else "")
        cookie = f"{self.cookie}={self.key}; Path={self.word}/; HttpOnly; SameSite=Strict"
        await _say(send, 303, "", {"location": to, "set-cookie": cookie})

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send, limit: int) -> None:
        from starlette.exceptions import HTTPException

        read = 0

        async def counted() -> MutableMapping[str, Any]:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > limit:
                await _hear_out(receive, limit)
                raise HTTPException(413, _too_large(limit))
            return message

        async def dressed(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                told = {name.lower(): value for name, value in message["headers"]}
                if told.get(b"location", b"").startswith(b"/"):
                    told[b"location"] = scope["bench_root"].encode() + told[b"location"]
                message["headers"] = list({**{k.encode(): v.encode() for k, v in HEADERS.items()}, **told}.items())
            await send(message)

        await self.app(scope, counted, dressed)


async def _hear_out(receive: Receive, limit: int) -> None:
    """Take in what is still coming and drop it, up to four times what may come."""
    from asyncio import timeout

    read, until = 0, time.monotonic() + PATIENCE
    try:
        async with timeout(PATIENCE):
            while read < 4 * limit and time.monotonic() < until:
                message = await receive()
                read += len(message.get("body", b""))
                if message["type"] != "http.request" or not message.get("more_body"):
                    return
    except TimeoutError:
        return


def _too_large(limit: int) -> str:
    return (
        f"That is more than {limit // 1_000_000} MB, the most this page takes. Copy the file into the folder by hand."
    )


async def _say(send: Send, status: int, text: str, more: dict[str, str] | None = None) -> None:
    headers = {**HEADERS, "content-type": "text/plain; charset=utf-8", **(more or {})}
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [(k.encode(), v.encode("latin-1")) for k, v in headers.items()],
        }
    )
    await send({"type": "http.response.body", "body": text.encode()})
