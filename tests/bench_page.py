"""A bench page on a copy of the examples, spoken to without a browser."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

PORT = 8437
HOME = f"http://127.0.0.1:{PORT}"


@dataclass
class Page:
    """The page, and the folder it was opened on."""

    client: Any
    root: Path
    bench: Any

    def get(self, path: str, **query: str) -> Any:
        return self.client.get(path, params=query)

    def post(self, path: str, form: dict[str, str] | None = None, /, **query: str) -> Any:
        return self.client.post(path, params=query, data=form or {}, follow_redirects=False)

    def edit(self, file: str, **form: str) -> Any:
        """An edit as the page's script sends it; `set_angle` stands for `set.angle`."""
        named = {name.replace("set_", "set.", 1) if name.startswith("set_") else name: v for name, v in form.items()}
        return self.post("/part/edit", {"script": "1", **named}, file=file)

    def text(self, file: str) -> str:
        return (self.root / file).read_text(encoding="utf-8")


def open_page(root: Path) -> Page:
    """The page on a folder."""
    import warnings

    from layup.bench.app import build

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the test client's advice on which of two clients to install
        from starlette.testclient import TestClient
    guard = build(root, "the-key", PORT)
    client = TestClient(guard, base_url=HOME, cookies={f"bench-{PORT}": "the-key"}, headers={"origin": HOME})
    return Page(client, root, guard.app.state.bench)


def alike(one: object, other: object, rel: float = 1e-9, near: float = 1e-12) -> bool:
    """Whether two answers read from JSON say the same.

    Two processes may add in another order: a figure's last digits are not a promise, all else is.
    """
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(alike(one[key], other[key], rel, near) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(alike(a, b, rel, near) for a, b in zip(one, other, strict=True))
    if isinstance(one, float) or isinstance(other, float):
        numbers = isinstance(one, int | float) and isinstance(other, int | float)
        return numbers and math.isclose(one, other, rel_tol=rel, abs_tol=near)  # type: ignore[arg-type]
    return type(one) is type(other) and one == other


class _Forms(HTMLParser):
    """Every form of a page as a browser would send it; of a list where none is chosen, the first."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[dict[str, Any]] = []
        self.here: dict[str, Any] | None = None
        self.choice: tuple[dict[str, str], str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        got = {key: value or "" for key, value in attrs}
        if tag == "form":
            self.here = {"action": got.get("action", ""), "id": got.get("id", ""), "fields": {}}
            self.forms.append(self.here)
        into = next((f for f in self.forms if f["id"] == got["form"]), None) if "form" in got else self.here
        if into is None or not got.get("name"):
            if tag == "option" and self.choice is not None:
                fields, name = self.choice
                if "selected" in got or name not in fields:
                    fields[name] = got.get("value", "")
            return
        kind = got.get("type", "text")
        if tag == "input" and (kind not in ("checkbox", "radio") or "checked" in got):
            into["fields"][got["name"]] = got.get("value", "on" if kind == "checkbox" else "")
        elif tag == "select":
            self.choice = into["fields"], got["name"]

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.here = None
        elif tag == "select":
            self.choice = None


def forms(text: str) -> list[dict[str, Any]]:
    """The forms of a page: address, id, and what each field would send as it stands."""
    parser = _Forms()
    parser.feed(text)
    return parser.forms
