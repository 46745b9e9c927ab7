"""Who may speak to the page: this machine's own browser, on the page's own address, with the key of this start.

A page of another site can make a browser send requests here; its Origin gives it away. A name that another site lets
point to this machine gives itself away by its Host. Neither knows the key.

A browser sends a cookie to every server of this machine, whatever its port (RFC 6265, 8.5, from memory). So the key is
kept for one path only, a word made from the key: another server here would have to be asked for that path to see it.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import socket
import sys
import threading
import time
from dataclasses import dataclass
from ipaddress import ip_address, ip_network
from typing import TYPE_CHECKING, Literal
from urllib.parse import parse_qs, quote, urlencode

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.types import Message, Receive, Scope, Send
    from uvicorn import Server

from layup.errors import LayupError

LARGEST_UPLOAD = 600_000_000
"""Of a mesh, a drawing or a photograph. [byte]"""
LARGEST_FORM = 1_000_000
"""Of everything else. [byte]"""
UPLOADS = ("/new", "/part/file")
"""Where a file may be sent."""
ONCE = {"host", "origin", "content-length", "transfer-encoding", "content-type", "cookie", "sec-fetch-site"}
"""What a request may say once only: said twice, two readers could take it two ways."""
PATIENCE = 20.0
"""How long a body that is too large is listened to, so that the browser hears why it was refused. [s]"""

USUAL = 8437
"""Port tried first, so that the address stays the same from day to day. [-]"""

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

    mode = ""

    def __init__(self, app: Starlette, key: str, port: int) -> None:
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
        bench = self.app.state.bench
        bench.pairing.end()
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
        if scope["method"] not in ("GET", "HEAD", "POST"):
            await _say(send, 405, "That can't be done here.", {"allow": "GET, HEAD, POST"})
            return
        if not await self._lets_by(scope, headers, receive, send):
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
        scope = {**scope, "path": path, "bench_root": self.word if under else "", "bench_guest": self.mode}
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

    async def _lets_by(self, scope: Scope, headers: dict[str, str], receive: Receive, send: Send) -> bool:
        """Whether a request has the key; where it does not, it is answered here."""
        query = parse_qs(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        if "key" in query and scope["method"] == "GET":
            await self._let_in(scope, query, send)
            return False
        if self._known(headers.get("cookie", "")):
            return True
        await _say(
            send,
            403,
            "This page was opened without its key. Open the whole address that `layup bench` printed in the terminal; "
            "each start has a new one.",
        )
        return False

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

        async def counted() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > limit:
                await _hear_out(receive, limit)
                raise HTTPException(413, _too_large(limit))
            return message

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                told = {name.lower(): value for name, value in message["headers"]}
                if told.get(b"location", b"").startswith(b"/"):
                    told[b"location"] = scope["bench_root"].encode() + told[b"location"]
                message["headers"] = list({**{k.encode(): v.encode() for k, v in HEADERS.items()}, **told}.items())
            await send(message)

        await self.app(scope, counted, dressed)


Mode = Literal["read", "weigh"]
MODES: dict[str, str] = {
    "read": "it may look, and change nothing",
    "weigh": "it may look and weigh, and change nothing else",
}
"""What a paired device may do."""
READS = frozenset(
    f"/{name}"
    for name in (
        "",
        "card",
        "card/picture",
        "part",
        "part/version",
        "part/reading",
        "part/plan",
        "shape",
        "shape/still",
        "choose",
        "choose/progress",
        "prepare",
        "prepare/picture",
        "prepare/paper",
        "prepare/progress",
        "weigh",
        "weigh/said",
        "refit",
        "refit/paper",
        "look.css",
    )
)
"""What it may be shown; all else is refused, whatever is added to the page later."""
LAIN_OPEN = frozenset(("/look.css", "/look/bench.css"))
"""Style sheets, which the question for the code is shown with."""
PRIVATE = [
    ip_network(net)
    for net in ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "fc00::/7", "fe80::/10")
]
"""Networks that are not routed on the internet: RFC 1918, RFC 3927, RFC 4193, RFC 4291; from memory."""
CODE_LASTS, TRIES, LASTS = 300.0, 5, 12 * 3600.0
"""How long a code holds [s], how often it may be typed wrongly [-], how long a pairing holds [s]."""


def private(address: str) -> bool:
    """Whether an address lies on a network of one's own.

    >>> private("192.168.1.7"), private("127.0.0.1"), private("8.8.8.8"), private("::ffff:192.168.1.7"), private("x")
    (True, False, False, False, False)
    """
    try:
        found = ip_address(address)
    except ValueError:
        return False
    return any(found.version == net.version and found in net for net in PRIVATE)


class Guest(Guard):
    """Stands before the application on the shop's own network, for one device that typed the code."""

    def __init__(self, app: Starlette, host: str, port: int, mode: Mode) -> None:
        super().__init__(app, secrets.token_urlsafe(24), port)
        self.cookie = f"guest-{port}"
        self.hosts = {f"{host}:{port}"}
        self.origins = {f"http://{host}:{port}"}
        self.mode = mode
        self.code = f"{secrets.randbelow(10**8):08d}"
        self.device = ""
        self.over = False
        self._tries = TRIES
        self._begun = time.monotonic()
        self._lock = threading.Lock()

    def _refused(self, scope: Scope, headers: dict[str, str], twice: set[str]) -> str:
        if time.monotonic() > self._begun + LASTS:
            self.over = True
        asker = str((scope.get("client") or ("",))[0])
        if self.over:
            return "This is ended. Begin it again at the machine that runs the page."
        if not private(asker) or (self.device and asker != self.device):
            return "This page answers one device of the shop's own network."
        return super()._refused(scope, headers, twice)

    async def _lets_by(self, scope: Scope, headers: dict[str, str], receive: Receive, send: Send) -> bool:
        path, method = scope["path"].removeprefix(self.word), scope["method"]
        if method == "GET" and path in LAIN_OPEN:
            return True
        if not self._known(headers.get("cookie", "")):
            await self._ask_for_the_code(scope, receive, send)
            return False
        shown = method in ("GET", "HEAD") and (path in READS or (path.startswith("/look/") and path.count("/") == 2))
        if shown or (self.mode == "weigh" and (method, path) == ("POST", "/weigh")):
            return True
        await _say(send, 403, f"This device is paired: {MODES[self.mode]}. Do that at the machine that runs the page.")
        return False

    async def _ask_for_the_code(self, scope: Scope, receive: Receive, send: Send) -> None:
        """The one page that somebody without the key sees; the right code, once, gives the key."""
        typed = ""
        if (scope["method"], scope["path"]) == ("POST", "/pair"):
            message = await receive()
            body = message.get("body", b"") if not message.get("more_body") else b""
            given = parse_qs(body[:200].decode("latin-1")).get("code", [""])[0]
            typed = "".join(c for c in given if c in "0123456789")
        with self._lock:
            late = time.monotonic() > self._begun + CODE_LASTS
            if typed and self.code and not late and hmac.compare_digest(typed, self.code):
                self.code, self.device = "", str(scope["client"][0])
                cookie = f"{self.cookie}={self.key}; Path={self.word}/; HttpOnly; SameSite=Strict"
                answer, more = "", {"location": f"{self.word}/", "set-cookie": cookie}
            elif self.device or late or not self.code:
                answer, more = "No code is asked for any more. Begin it again at the machine that runs the page.", {}
            else:
                self._tries -= scope["method"] == "POST"
                self.over = self._tries <= 0
                wrong = "<p class=wrong>That is not the code.</p>" if typed else ""
                answer, more = _CODE.format(wrong=wrong), {"content-type": "text/html; charset=utf-8"}
        await _say(send, 303 if "location" in more else 403 if "content-type" not in more else 200, answer, more)


_CODE = """<!doctype html><html lang="en"><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>Pair this device</title>
<link rel="stylesheet" href="/look.css"><link rel="stylesheet" href="/look/bench.css">
<main><section class="panel narrow"><h1>Pair this device</h1>{wrong}
<form method="post" action="/pair"><label>The code that the shop's machine shows
<input name="code" inputmode="numeric" autocomplete="off" autofocus maxlength="20"></label>
<button class="main">Pair</button></form></section></main></html>"""


@dataclass
class _Open:
    """A pairing that stands: its guard, its address and what serves it."""

    guest: Guest
    address: str
    server: Server
    thread: threading.Thread


class Pairing:
    """The one device besides this machine: none until somebody here says so, and none again with one press."""

    def __init__(self, app: Starlette) -> None:
        self._app = app
        self._open: _Open | None = None
        self._lock = threading.Lock()

    @property
    def state(self) -> dict[str, str]:
        """Mode, address, code and device, as both screens say them; empty while nothing is open."""
        now = self._open
        if now is None or now.guest.over:
            return {}
        late = time.monotonic() > now.guest._begun + CODE_LASTS
        code = "" if late else now.guest.code
        return {
            "may": MODES[now.guest.mode],
            "address": now.address,
            "device": now.guest.device,
            "code": f"{code[:4]} {code[4:]}".strip(),
        }

    def begin(self, mode: str) -> None:
        """Open the page to one device of the shop's own network; what was open before ends.

        Raises:
            LayupError: There is no such mode, or this machine is on no private network.
        """
        import uvicorn

        self.end()
        host = next((one for one in own_addresses() if private(one)), "")
        if not host:
            raise LayupError(
                "this machine is on no network of your own (10..., 172.16... or 192.168...). Join the shop's network "
                "first"
            )
        with self._lock:
            made = listen(None, host, USUAL + 1)
            port = made.getsockname()[1]
            if mode == "read":
                guest = Guest(self._app, host, port, "read")
            elif mode == "weigh":
                guest = Guest(self._app, host, port, "weigh")
            else:
                made.close()
                raise LayupError("say whether the device may look only, or weigh")
            server = uvicorn.Server(
                uvicorn.Config(
                    guest,
                    log_level="critical",
                    access_log=False,
                    server_header=False,
                    timeout_graceful_shutdown=2,
                    lifespan="off",
                    ws="none",
                    proxy_headers=False,
                    limit_concurrency=20,
                )
            )
            thread = threading.Thread(target=server.run, kwargs={"sockets": [made]}, daemon=True)
            thread.start()
            self._open = _Open(guest, f"http://{host}:{port}/", server, thread)

    def end(self) -> None:
        """Let nobody in any more, and stop listening on the network."""
        with self._lock:
            now, self._open = self._open, None
            if now is not None:
                now.guest.over, now.guest.code, now.guest.key = True, "", secrets.token_urlsafe(24)
                now.server.should_exit = True
                now.thread.join(4.0)


def own_addresses() -> list[str]:
    """Addresses by which this machine is on a network; nothing is sent to find them."""
    found: list[str] = []
    for there in ("192.168.0.1", "10.0.0.1", "172.16.0.1"):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect((there, 9))
                found.append(probe.getsockname()[0])
            except OSError:
                continue
    return list(dict.fromkeys(found))


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


def listen(port: int | None, host: str = "127.0.0.1", usual: int = USUAL) -> socket.socket:
    """A socket that is heard at one address only.

    Args:
        port: Which; None takes the usual one, or any that is free.
        host: Whose: this machine's own, or the one it has on the shop's network.
        usual: Tried first.

    Raises:
        LayupError: Another program has it.
    """
    for wanted in (port,) if port is not None else (usual, 0):
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if sys.platform == "win32":  # there, another program could take the address over otherwise
            made.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((host, wanted))
        except (OSError, OverflowError):
            made.close()
            continue
        made.listen(128)
        return made
    raise LayupError(f"port {port} is taken by another program. Leave --port out, and a free one is found")
