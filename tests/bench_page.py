"""A bench page on a copy of the examples, spoken to without a browser."""

from __future__ import annotations

from dataclasses import dataclass
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
