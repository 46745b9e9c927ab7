"""Who may speak to the page: this machine's own browser, on the page's own address, with the key of this start.

A page of another site can make a browser send requests here; its Origin gives it away. A name that another site lets
point to this machine gives itself away by its Host. Neither knows the key.
"""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs, urlencode

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]

LARGEST_UPLOAD = 600_000_000
"""Of a mesh, a drawing or a photograph. [byte]"""
LARGEST_FORM = 1_000_000
"""Of everything else. [byte]"""
UPLOADS = ("/new/file", "/part/file")
"""Where a file may be sent."""

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
        if not self._known(headers.get("cookie", "")):
            await _say(send, 403, "This page was opened without its key. Open the whole address that `layup bench` "
                                  "printed in the terminal; each start has a new one.")  # fmt: skip
            return
        limit = LARGEST_UPLOAD if scope["path"] in UPLOADS else LARGEST_FORM
        try:
            told = int(headers.get("content-length", "0"))
        except ValueError:
            told = limit + 1
        if told > limit:
            await _say(send, 413, _too_large(limit))
            return
        await self._pass_on(scope, receive, send, limit)

    def _refused(self, scope: Scope, headers: dict[str, str], twice: set[str]) -> str:
        """Why a request is not from this page; "" if it may be."""
        if headers.get("host", "").casefold() not in self.hosts or twice & {"host", "origin", "content-length"}:
            return "This page answers only on this machine's own address, the one `layup bench` printed."
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
        try:
            jar = SimpleCookie(cookie)
        except CookieError:
            return False
        return self.cookie in jar and hmac.compare_digest(jar[self.cookie].value.encode(), self.key.encode())

    async def _let_in(self, scope: Scope, query: dict[str, list[str]], send: Send) -> None:
        """Take the key out of the address and leave it with the browser."""
        if not hmac.compare_digest(query["key"][0].encode(), self.key.encode()):
            await _say(send, 403, "This address is of an earlier start. Open the one that `layup bench` printed last.")
            return
        rest = urlencode([(k, v) for k, values in query.items() if k != "key" for v in values])
        path = scope["path"] if scope["path"].startswith("/") and not scope["path"].startswith("//") else "/"
        to = path + (f"?{rest}" if rest else "")
        cookie = f"{self.cookie}={self.key}; Path=/; HttpOnly; SameSite=Strict"
        await _say(send, 303, "", {"location": to, "set-cookie": cookie})

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send, limit: int) -> None:
        from starlette.exceptions import HTTPException

        read = 0

        async def counted() -> MutableMapping[str, Any]:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > limit:
                raise HTTPException(413, _too_large(limit))
            return message

        async def dressed(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                there = {name.lower() for name, _ in message["headers"]}
                message["headers"] = [
                    *message["headers"],
                    *((k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in there),
                ]
            await send(message)

        await self.app(scope, counted, dressed)


def _too_large(limit: int) -> str:
    return (
        f"That is more than {limit // 1_000_000} MB, the most this page takes. Copy the file into the folder by hand."
    )


async def _say(send: Send, status: int, text: str, more: dict[str, str] | None = None) -> None:
    headers = {**HEADERS, "content-type": "text/plain; charset=utf-8", **(more or {})}
    await send(
        {"type": "http.response.start", "status": status,
         "headers": [(k.encode(), v.encode("latin-1")) for k, v in headers.items()]}
    )  # fmt: skip
    await send({"type": "http.response.body", "body": text.encode()})
