"""Who may speak to the page: a request that is not from its own page, with its key, is refused before anything runs.

What a browser sends by itself: Fetch standard (WHATWG) for Origin, Fetch Metadata Request Headers (W3C) for
Sec-Fetch-Site; RFC 9110 and RFC 9112 for Host and for the two ways to say a length; RFC 6265 section 8.5 for cookies,
which do not know ports. Content Security Policy Level 3 (W3C). All from memory.
"""

from __future__ import annotations

import asyncio
import re
import threading
import time
from collections.abc import Iterable, Iterator, MutableMapping
from pathlib import Path
from typing import Any

import pytest

from layup.bench import guard as guard_module
from layup.bench.app import build
from layup.bench.guard import HEADERS, LARGEST_FORM, Guard, Guest

PORT = 8437
KEY = "the-key"
OWN = f"127.0.0.1:{PORT}"
COOKIE = f"bench-{PORT}={KEY}"
PART = (
    'title = "Door"\nprocess = "wet"\nresin = "epoxy, laminating"\n[surface]\narea = "0.5 m^2"\n[[ply]]\n'
    'fabric = "carbon plain 200"\n'
)

Pairs = Iterable[tuple[str, str]]


@pytest.fixture(scope="module")
def guard(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Guard]:
    root = tmp_path_factory.mktemp("shop")
    (root / "door.toml").write_text(PART, encoding="utf-8")
    made = build(root, KEY, PORT)
    yield made
    made.close()


def ask(
    guard: Guard, method: str = "GET", path: str = "/part/version", query: str = "file=door.toml",
    headers: Pairs = (), body: Iterable[bytes] = (), own: bool = True,
) -> tuple[int, dict[str, str], bytes]:  # fmt: skip
    """One request exactly as given; `own` adds what the page's own browser sends."""
    given = [("host", OWN), ("cookie", COOKIE)] if own else []
    if own and method == "POST":
        given += [("origin", f"http://{OWN}"), ("content-type", "application/x-www-form-urlencoded")]
    names = {name for name, _ in headers}
    lines = [(n, v) for n, v in given if n not in names] + [(n, v) for n, v in headers if v != "(none)"]
    chunks = list(body) or [b""]
    said: list[MutableMapping[str, Any]] = []

    async def receive() -> MutableMapping[str, Any]:
        if not chunks:
            return {"type": "http.disconnect"}
        return {"type": "http.request", "body": chunks.pop(0), "more_body": bool(chunks)}

    async def send(message: MutableMapping[str, Any]) -> None:
        said.append(message)

    scope = {
        "type": "http", "method": method, "path": path, "raw_path": path.encode(), "query_string": query.encode(),
        "headers": [(n.encode("latin-1"), v.encode("latin-1")) for n, v in lines], "http_version": "1.1",
        "scheme": "http", "root_path": "", "server": ("127.0.0.1", PORT), "client": ("127.0.0.1", 1),
    }  # fmt: skip
    asyncio.run(guard(scope, receive, send))
    start = said[0]
    head = {k.decode().lower(): v.decode("latin-1") for k, v in start["headers"]}
    return start["status"], head, b"".join(m.get("body", b"") for m in said[1:])


def test_its_own_browser_is_let_through(guard: Guard) -> None:
    status, _, body = ask(guard)
    assert status == 200
    assert re.fullmatch(b"[0-9a-f]{16} [0-9a-f]{16}", body), "the version of the text, and of all the weight rests on"
    assert ask(guard, headers=[("host", f"LOCALHOST:{PORT}")])[0] == 200
    assert ask(guard, headers=[("host", f"[::1]:{PORT}")])[0] == 200
    assert ask(guard, headers=[("sec-fetch-site", "same-origin")])[0] == 200


@pytest.mark.parametrize(
    "host",
    [
        "evil.example", f"evil.example:{PORT}", "(none)", "", "127.0.0.1", "127.0.0.1:80", f"127.0.0.1:{PORT + 1}",
        f"127.0.0.1.:{PORT}", f"localhost.:{PORT}", f"user@127.0.0.1:{PORT}", f"127.0.0.1:{PORT}@evil.example",
        f"127.0.0.1:0{PORT}", f"127.0.0.1:{PORT} ", f"127.0.0.1:{PORT}, evil.example", f"127.1:{PORT}",
        f"2130706433:{PORT}", f"0.0.0.0:{PORT}", f"[::ffff:127.0.0.1]:{PORT}", f"[::]:{PORT}", f"::1:{PORT}",
        f"127.0.0.1:{PORT}/x", f"127.0.0.1:{PORT}#x", f"rebound.example:{PORT}", f"\u00b9localhost:{PORT}",
    ],
)  # fmt: skip
def test_another_host_is_refused(guard: Guard, host: str) -> None:
    """Also by DNS rebinding: the name of another site that now points here is still that name."""
    status, head, body = ask(guard, headers=[("host", host)])
    assert status == 403
    assert b"own address" in body
    assert head["content-security-policy"] == HEADERS["content-security-policy"]


@pytest.mark.parametrize("name", sorted(guard_module.ONCE - {"transfer-encoding", "origin"}))
def test_what_can_be_read_two_ways_is_refused(guard: Guard, name: str) -> None:
    value = {"host": OWN, "content-length": "0", "cookie": COOKIE, "sec-fetch-site": "none"}.get(name, "text/plain")
    assert ask(guard, headers=[(name, value)])[0] == 200
    assert ask(guard, headers=[(name, value), (name, value)])[0] == 403
    assert ask(guard, headers=[(name, value), (name.title(), value)])[0] == 403


@pytest.mark.parametrize(
    "origin",
    [
        "null", "", "(none)", "http://evil.example", f"http://evil.example:{PORT}", f"https://{OWN}",
        "http://127.0.0.1",
        f"http://127.0.0.1:{PORT + 1}", f"http://{OWN}.evil.example", f"http://{OWN}/", f"http://{OWN} http://{OWN}",
        f"http://user@{OWN}", f"file://{OWN}", f"http://localhost.:{PORT}",
    ],
)  # fmt: skip
def test_a_post_of_another_origin_is_refused(guard: Guard, origin: str) -> None:
    asked = {"path": "/part/typed", "query": "file=door.toml", "body": [b"field=f&text=hello&keep=1"]}
    assert ask(guard, "POST", **asked)[0] == 204
    assert ask(guard, "POST", headers=[("origin", origin)], **asked)[0] == 403


def test_a_read_for_another_site_is_refused(guard: Guard) -> None:
    for site in ("cross-site", "same-site", "SAME-ORIGIN?"):
        assert ask(guard, headers=[("sec-fetch-site", site)])[0] == 403
        assert ask(guard, headers=[("sec-fetch-site", site), ("sec-fetch-mode", "no-cors")])[0] == 403
    assert ask(guard, headers=[("origin", "http://evil.example")])[0] == 403
    # a link on another site may be followed, but the browser sends no cookie along (SameSite=Strict)
    assert (
        ask(guard, headers=[("sec-fetch-site", "cross-site"), ("sec-fetch-mode", "navigate"), ("cookie", "a=b")])[0]
        == 403
    )


@pytest.mark.parametrize(
    "cookie",
    [
        "", "(none)", "bench-8437", "bench-8437=", "bench-8437=the-ke", "bench-8437=the-key2",
        f"bench-{PORT + 1}={KEY}",
        f"bench={KEY}", f"Bench-{PORT}={KEY}", f'bench-{PORT}="{KEY}"', f"x=bench-{PORT}={KEY}",
        f"bench-{PORT}=a,{KEY}",
        f"bench-{PORT}={KEY}\x00", f"bench-{PORT}=earlier-start", "\xff=\xfe", "=" * 4000,
    ],
)  # fmt: skip
def test_without_the_key_nothing_is_answered(guard: Guard, cookie: str) -> None:
    status, _, body = ask(guard, headers=[("cookie", cookie)])
    assert status == 403
    assert KEY.encode() not in body


def test_a_cookie_that_another_page_of_this_machine_set_beside_ours_locks_nobody_out(guard: Guard) -> None:
    for cookie in (f"bench-{PORT}=wrong; {COOKIE}", f"{COOKIE}; bench-{PORT}=wrong", f"a; ;=;{COOKIE};\\"):
        assert ask(guard, headers=[("cookie", cookie)])[0] == 200


def test_a_long_cookie_takes_no_longer_than_its_length(guard: Guard) -> None:
    def took(length: int) -> float:
        cookie = 'a="' + "\\" * length + f'"; {COOKIE}'
        began = time.process_time()
        assert ask(guard, headers=[("cookie", cookie)])[0] == 200
        return time.process_time() - began

    took(10)
    short = min(took(6_000) for _ in range(5))
    assert min(took(60_000) for _ in range(5)) < 40 * short  # quadratic unquoting takes 100 times as long


def test_the_key_goes_from_the_address_into_a_cookie_that_no_script_and_no_site_sees(guard: Guard) -> None:
    status, head, _ = ask(guard, path="/part", query=f"key={KEY}&file=door.toml&x=%0d%0aSet-Cookie:%20a=b", own=False,
                          headers=[("host", OWN)])  # fmt: skip
    assert status == 303
    assert head["location"].startswith(f"{guard.word}/part?file=door.toml&x=%0D%0A")
    assert "key" not in head["location"]
    assert head["set-cookie"] == f"bench-{PORT}={KEY}; Path={guard.word}/; HttpOnly; SameSite=Strict"


def test_another_server_of_this_machine_is_not_sent_the_key(guard: Guard) -> None:
    """What a browser does with a cookie's path (RFC 6265, 5.1.4): it comes along below that path and nowhere else."""
    from http.cookiejar import CookieJar
    from urllib.request import Request

    from starlette.datastructures import Headers

    class Said:
        def __init__(self, head: dict[str, str]) -> None:
            self.head = head

        def info(self) -> object:
            from email.message import Message

            made = Message()
            made["Set-Cookie"] = self.head["set-cookie"]
            return made

    _, head, _ = ask(guard, path="/part", query=f"key={KEY}", own=False, headers=[("host", OWN)])
    jar = CookieJar()
    jar.extract_cookies(Said(head), Request(f"http://{OWN}/part"))  # type: ignore[arg-type]  # all the jar asks of it

    def told(address: str) -> bool:
        asked = Request(address)
        jar.add_cookie_header(asked)
        return asked.has_header("Cookie")

    assert told(f"http://{OWN}{guard.word}/part?file=door.toml")
    other = "http://127.0.0.1:9000"
    assert not any(told(other + path) for path in ("/", "/part", "/look.css", guard.word, guard.word + "x/part"))
    own = [("host", OWN), ("cookie", COOKIE)]
    status, head, body = ask(guard, path=f"{guard.word}/part", own=False, headers=own)
    assert status == 200
    assert Headers(head)["x-version"]
    links = re.findall(rb'(?:href|src|action)="(/[^"]*)"', body)
    assert len(links) > 20
    assert [link for link in links if not link.startswith(guard.word.encode() + b"/")] == []
    status, head, _ = ask(
        guard,
        "POST",
        f"{guard.word}/part/undo",
        own=False,
        headers=[*own, ("origin", f"http://{OWN}"), ("content-type", "application/x-www-form-urlencoded")],
        query="file=door.toml",
    )
    assert status in (303, 422)
    assert ask(guard, path=f"{guard.word}/part", own=False, headers=[("host", OWN)])[0] == 403  # the word is no key


@pytest.mark.parametrize(
    "query", ["key=", "key=wrong", "key=the-key%00", "key=wrong&key=the-key", "key=%ff", "KEY=the-key"]
)
def test_a_wrong_key_opens_nothing(guard: Guard, query: str) -> None:
    status, head, _ = ask(guard, path="/", query=query, own=False, headers=[("host", OWN)])
    assert status == 403
    assert "set-cookie" not in head


def test_the_key_in_a_post_opens_nothing(guard: Guard) -> None:
    headers = [("host", OWN), ("origin", f"http://{OWN}")]
    for method in ("POST", "HEAD"):
        status, head, _ = ask(
            guard, method, "/part/undo", f"key={KEY}&file=door.toml", headers, [f"key={KEY}".encode()], False
        )
        assert status == 403
        assert "set-cookie" not in head


@pytest.mark.parametrize(
    "path",
    ["//evil.example", "///evil.example", "/\\evil.example", "/\\/evil.example", "\\\\evil.example",
    "//evil.example/..",
     "http://evil.example/", "/a\r\nset-cookie: b=c", "/a\nb", "/\x00", "/caf\u00e9", "/\u65e5\u672c", "",
     "javascript:alert(1)",
     "/\t/evil.example"],
)  # fmt: skip
def test_the_way_in_leads_nowhere_else(guard: Guard, path: str) -> None:
    status, head, _ = ask(guard, path=path, query=f"key={KEY}", own=False, headers=[("host", OWN)])
    assert status == 303
    to = head["location"]
    assert to.startswith("/")
    assert not to.startswith(("//", "/\\"))
    assert not set("\r\n\t\\\0") & set(to)
    assert to.isascii()


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "PATCH", "CONNECT", "PROPFIND", "get", "SPAM"])
def test_other_methods_do_nothing(guard: Guard, method: str) -> None:
    own = [("host", OWN), ("cookie", COOKIE), ("origin", f"http://{OWN}"), ("x-secret", "echo-me")]
    status, head, body = ask(guard, method, "/part/edit", "file=door.toml", own, own=False)
    assert status == 405
    assert b"echo-me" not in body
    assert "access-control-allow-origin" not in head
    assert head["content-security-policy"]


def test_head_says_no_more_than_get(guard: Guard) -> None:
    status, head, _ = ask(guard, "HEAD", "/part")  # the server itself leaves the body out
    assert status == 200
    assert head["content-security-policy"] == HEADERS["content-security-policy"]
    assert ask(guard, "HEAD", "/part/undo")[0] == 405


def test_the_policy_is_on_every_answer_with_the_bad_ones(guard: Guard) -> None:
    cases = [("GET", "/", ""), ("GET", "/part", "file=door.toml"), ("GET", "/look/bench.css", ""), ("GET",
        "/look.css", ""),
             ("GET", "/nothing", ""), ("GET", "/part", "file=../x.toml"), ("GET", "/part", "file=gone.toml"),
             ("POST", "/part/typed", "file=door.toml"), ("GET", "/part/edit", ""), ("GET", "/shape", "file=door.toml"),
             ("POST", "/part/edit", "file=door.toml"), ("GET", "/look/..%2fapp.py", "")]  # fmt: skip
    seen = set()
    for method, path, query in cases:
        status, head, _ = ask(guard, method, path, query)
        seen.add(status)
        for name in HEADERS:
            assert name in head, (path, name)
        policy = head["content-security-policy"]
        assert policy.startswith("default-src 'none'")
        assert "script-src 'self'" in policy or "script-src" not in policy
    assert seen >= {200, 204, 403, 404, 405, 422}


def test_a_body_over_the_limit_is_refused_however_its_length_is_said(guard: Guard) -> None:
    part = b"a=" + b"x" * 99_998
    asked = {"method": "POST", "path": "/part/edit", "query": "file=door.toml"}
    more = [part] * (LARGEST_FORM // len(part) + 1)
    for headers in ([("content-length", str(sum(map(len, more))))], [("transfer-encoding", "chunked")], []):
        status, head, body = ask(guard, headers=headers, body=more, **asked)
        assert status == 413, headers
        assert b"1 MB" in body
        assert head["content-security-policy"]
    for odd in ("-1", "+5", "1e9", "0x10", "9" * 30, "\u00b2", "5, 5", "", "1_0"):
        assert ask(guard, headers=[("content-length", odd)], body=[b"a=b"], **asked)[0] == 413, odd
    both = [("content-length", "3"), ("transfer-encoding", "chunked")]
    assert ask(guard, headers=both, body=[b"a=b"], **asked)[0] == 403


def test_a_large_file_is_taken_only_where_files_go_and_only_as_one(
    guard: Guard, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guard_module, "LARGEST_UPLOAD", 3_000_000)
    multipart = "multipart/form-data; boundary=edge"
    form = b'--edge\r\nContent-Disposition: form-data; name="surface"; filename="odd.xyz"\r\n\r\n'
    fits, much = [form, *[b"x" * 500_000] * 3, b"\r\n--edge--\r\n"], [form, *[b"x" * 500_000] * 8, b"\r\n--edge--\r\n"]
    routes = [(route.path, method) for route in guard.app.routes for method in route.methods]  # type: ignore[attr-defined]
    posts = sorted(path for path, method in routes if method == "POST")
    assert set(guard_module.UPLOADS) <= set(posts)
    for path in posts:
        upload = path in guard_module.UPLOADS
        status = ask(guard, "POST", path, "file=door.toml", [("content-type", multipart)], list(fits))[0]
        assert (status == 413) != upload, path
        assert ask(guard, "POST", path, "file=door.toml", [("content-type", multipart)], list(much))[0] == 413, path
        # a form that is no file is short everywhere
        plain = [b"a=" + b"x" * 400_000] * 3
        assert ask(guard, "POST", path, "file=door.toml", body=plain)[0] == 413, path


def test_thousands_of_fields_and_long_names_are_no_burden(guard: Guard) -> None:
    many = "&".join(f"set.k{n}=v" for n in range(60_000)).encode()[:990_000].rpartition(b"&")[0]
    long = b"set." + b"k" * 400_000 + b"=" + b"v" * 400_000
    multipart = b"".join(
        f'--e\r\nContent-Disposition: form-data; name="f{n}"\r\n\r\nv\r\n'.encode() for n in range(2_000)
    ) + b"--e--\r\n"  # fmt: skip
    kinds = ((many, "application/x-www-form-urlencoded"), (long, "application/x-www-form-urlencoded"),
             (multipart, "multipart/form-data; boundary=e"), (b"junk", "multipart/form-data"),
             (b"junk", "multipart/form-data; boundary="), (b'{"a": 1}', "application/json"), (b"\xff\xfe=\xfd",
             "a/b"))  # fmt: skip
    for body, kind in kinds:
        began = time.process_time()
        status, _, text = ask(guard, "POST", "/part/typed", "file=door.toml", [("content-type", kind)], [body])
        assert status in (204, 400, 413, 422), (kind, status, text)
        assert time.process_time() - began < 60.0, kind  # quadratic work would take minutes of the processor


def test_eight_windows_at_once_are_all_answered(guard: Guard) -> None:
    seen: list[int] = []

    def one() -> None:
        seen.extend(ask(guard)[0] for _ in range(4))

    windows = [threading.Thread(target=one) for _ in range(8)]
    for window in windows:
        window.start()
    for window in windows:
        window.join()
    assert seen == [200] * 32


def test_other_kinds_of_connection_are_not_taken(guard: Guard) -> None:
    said: list[object] = []

    async def receive() -> MutableMapping[str, Any]:
        return {"type": "websocket.connect"}

    async def send(message: MutableMapping[str, Any]) -> None:
        said.append(message)

    asyncio.run(guard({"type": "websocket", "path": "/", "headers": [], "query_string": b""}, receive, send))
    assert said == []


def test_the_folder_is_not_named_by_an_error(guard: Guard, tmp_path_factory: pytest.TempPathFactory) -> None:
    base = str(tmp_path_factory.getbasetemp()).encode()
    for path, query in (
        ("/part", "file=gone.toml"),
        ("/part", "file=../x"),
        ("/part/json", "file=door.toml"),
        ("/x", ""),
    ):
        assert base not in ask(guard, path=path, query=query)[2]


def test_the_root_of_the_page_is_this_folder(guard: Guard) -> None:
    assert (Path(guard.app.state.bench.folder.root) / "door.toml").is_file()  # type: ignore[attr-defined]


TABLET = "192.168.7.9"
HOST = "192.168.7.2:8438"


def visit(
    guest: Guest,
    method: str = "GET",
    path: str = "/",
    form: str = "",
    cookie: str = "",
    client: str = TABLET,
    host: str = HOST,
    origin: str = f"http://{HOST}",
) -> tuple[int, dict[str, str], str]:
    """One request from the shop's network."""
    headers = [("host", host), ("cookie", cookie), ("content-type", "application/x-www-form-urlencoded")]
    headers += [("origin", origin)] if method == "POST" else []
    path, _, query = path.partition("?")
    said: list[MutableMapping[str, Any]] = []

    async def receive() -> MutableMapping[str, Any]:
        return {"type": "http.request", "body": form.encode(), "more_body": False}

    async def send(message: MutableMapping[str, Any]) -> None:
        said.append(message)

    scope = {
        "type": "http",
        "method": method,
        "path": path,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "headers": [(n.encode(), v.encode("latin-1")) for n, v in headers if v],
        "http_version": "1.1",
        "scheme": "http",
        "root_path": "",
        "server": ("192.168.7.2", 8438),
        "client": (client, 5000),
    }
    asyncio.run(guest(scope, receive, send))
    head = {k.decode().lower(): v.decode("latin-1") for k, v in said[0]["headers"]}
    return said[0]["status"], head, b"".join(m.get("body", b"") for m in said[1:]).decode("utf-8", "replace")


def paired(guard: Guard, mode: str) -> tuple[Guest, str]:
    """A guard of the network whose device has typed the code, and its cookie."""
    guest = Guest(guard.app, "192.168.7.2", 8438, "weigh" if mode == "weigh" else "read")
    status, head, _ = visit(guest, "POST", "/pair", f"code={guest.code[:4]}+{guest.code[4:]}")
    assert status == 303
    assert head["location"] == f"{guest.word}/"
    return guest, head["set-cookie"].split(";")[0]


def test_nobody_else_is_let_in_until_somebody_here_says_so(guard: Guard) -> None:
    pairing = guard.app.state.bench.pairing  # type: ignore[attr-defined]
    assert pairing.state == {}
    assert b'data-pairing="' not in ask(guard, path="/", query="")[2]


def test_the_code_lets_one_device_in_once(guard: Guard) -> None:
    guest, cookie = paired(guard, "read")
    status, _, text = visit(guest, path=f"{guest.word}/part?file=door.toml", cookie=cookie)
    assert status == 200
    assert "it may look, and change nothing" in text  # said on its screen
    code = Guest(guard.app, "192.168.7.2", 8438, "read").code
    assert re.fullmatch("[0-9]{8}", code)
    assert guest.code == ""
    assert visit(guest, "POST", "/pair", "code=")[0] == 403
    other = "192.168.7.10"
    assert visit(guest, path="/", client=other)[0] == 403
    assert visit(guest, path=f"{guest.word}/part?file=door.toml", cookie=cookie, client=other)[0] == 403  # a key copied
    assert visit(guest, path=f"{guest.word}/part?file=door.toml", cookie=COOKIE)[0] == 403  # the laptop's key is not it
    assert ask(guard, headers=[("cookie", cookie)])[0] == 403  # nor the tablet's the laptop's
    assert ask(guard, headers=[("cookie", f"bench-{PORT}={guest.key}")])[0] == 403


def test_five_wrong_codes_end_it(guard: Guard) -> None:
    guest = Guest(guard.app, "192.168.7.2", 8438, "read")
    wrong = "00000000" if guest.code != "00000000" else "00000001"
    for _ in range(5):
        assert "That is not the code" in visit(guest, "POST", "/pair", f"code={wrong}")[2]
    assert guest.over
    assert visit(guest, "POST", "/pair", f"code={guest.code}")[0] == 403


def test_a_code_grows_old_and_so_does_a_pairing(guard: Guard, monkeypatch: pytest.MonkeyPatch) -> None:
    late = Guest(guard.app, "192.168.7.2", 8438, "read")
    guest, cookie = paired(guard, "read")
    assert visit(guest, path="/weigh", cookie=cookie)[0] == 200
    now = time.monotonic()
    monkeypatch.setattr(guard_module.time, "monotonic", lambda: now + guard_module.CODE_LASTS + 1)
    assert visit(late, "POST", "/pair", f"code={late.code}")[0] == 403
    assert visit(guest, path="/weigh", cookie=cookie)[0] == 200
    monkeypatch.setattr(guard_module.time, "monotonic", lambda: now + guard_module.LASTS + 1)
    assert visit(guest, path="/weigh", cookie=cookie)[0] == 403


@pytest.mark.parametrize("mode", ["read", "weigh"])
def test_a_paired_device_can_do_what_it_was_let_in_for_and_nothing_else(guard: Guard, mode: str) -> None:
    guest, cookie = paired(guard, mode)
    root = guard.app.state.bench.folder.root  # type: ignore[attr-defined]
    before = {path: path.read_bytes() for path in root.rglob("*.toml")}
    allowed = set()
    for route in guard.app.routes:  # type: ignore[attr-defined]
        path = route.path.replace("{name}", "bench.js")
        for method in ("GET", "POST"):
            where = f"{guest.word}{path}?file=door.toml"
            if visit(guest, method, where, "value=1&do=note&mode=read", cookie)[0] != 403:
                allowed.add((method, path))
    posts = {path for method, path in allowed if method == "POST"}
    assert posts - {"/look.css"} == ({"/weigh"} if mode == "weigh" else set())
    assert {"/part", "/prepare", "/weigh", "/shape"} <= {path for method, path in allowed if method == "GET"}
    assert {"/pair/begin", "/pair/end", "/pair/state", "/part/json", "/refit/json"} & {p for _, p in allowed} == set()
    assert {path: path.read_bytes() for path in root.rglob("*.toml")} == before
    for sly in ("/look/../part/edit", "/weigh/", "//weigh", "/weigh/undo", "/WEIGH", "/look/a/b", "/part/edit"):
        assert visit(guest, "POST", guest.word + sly, "number=1", cookie)[0] == 403


@pytest.mark.parametrize(
    "client", ["8.8.8.8", "127.0.0.1", "100.64.0.1", "172.32.0.1", "192.169.0.1", "::1", "2001:db8::1", "", "evil"]
)
def test_only_the_shops_own_network_is_answered(guard: Guard, client: str) -> None:
    guest = Guest(guard.app, "192.168.7.2", 8438, "read")
    assert visit(guest, client=client)[0] == 403
    assert visit(guest, "POST", "/pair", f"code={guest.code}", client=client)[0] == 403
    assert guest.device == ""


@pytest.mark.parametrize(
    ("host", "origin"),
    [
        ("rebound.example:8438", f"http://{HOST}"),
        (HOST, "http://evil.example"),
        (HOST, "null"),
        (HOST, ""),
        ("192.168.7.2", f"http://{HOST}"),
        (HOST, "http://192.168.7.2:9000"),
    ],
)
def test_another_site_types_no_code(guard: Guard, host: str, origin: str) -> None:
    guest = Guest(guard.app, "192.168.7.2", 8438, "read")
    assert visit(guest, "POST", "/pair", f"code={guest.code}", host=host, origin=origin)[0] == 403
    assert guest.device == ""


def test_it_is_opened_on_the_network_and_ended_with_one_press(guard: Guard, monkeypatch: pytest.MonkeyPatch) -> None:
    """Through a real socket; the machine the tests run on may be on no network, so its own address stands for one."""
    import http.client

    pairing = guard.app.state.bench.pairing  # type: ignore[attr-defined]
    monkeypatch.setattr(guard_module, "own_addresses", list)
    assert b"no network of your own" in ask(guard, "POST", "/pair/begin", "", body=[b"mode=read"])[2]
    monkeypatch.setattr(guard_module, "own_addresses", lambda: ["127.0.0.1"])
    monkeypatch.setattr(guard_module, "private", lambda address: address == "127.0.0.1")
    assert ask(guard, "POST", "/pair/begin", "", body=[b"mode=everything"])[0] == 422
    assert ask(guard, "POST", "/pair/begin", "", body=[b"mode=weigh"])[0] == 303
    state = pairing.state
    text = ask(guard, path="/", query="")[2].decode()
    assert state["address"] in text  # the laptop's screen says it
    assert state["code"] in text
    host = state["address"].removeprefix("http://").rstrip("/")

    def told(method: str, path: str, body: str = "", cookie: str = "") -> tuple[int, str, str]:
        line = http.client.HTTPConnection(host, timeout=20)
        kind = "application/x-www-form-urlencoded"
        line.request(method, path, body, {"Origin": f"http://{host}", "Content-Type": kind, "Cookie": cookie})
        heard = line.getresponse()
        return heard.status, heard.read().decode(), heard.headers.get("set-cookie", "")

    assert "Pair this device" in told("GET", "/")[1]
    status, _, cookie = told("POST", "/pair", f"code={state['code']}")
    assert status == 303
    assert ask(guard, path="/pair/state", query="")[2].decode() == pairing.state["device"] == host.split(":")[0]
    word = re.search("Path=([^;]*)/", cookie)
    assert word
    shown = told("GET", f"{word[1]}/weigh?file=door.toml", cookie=cookie.split(";")[0])
    assert shown[0] == 200
    assert "it may look and weigh" in shown[1]
    assert ask(guard, "POST", "/pair/end", "")[0] == 303
    assert pairing.state == {}
    with pytest.raises(ConnectionRefusedError):
        told("GET", f"{word[1]}/weigh?file=door.toml", cookie=cookie.split(";")[0])
