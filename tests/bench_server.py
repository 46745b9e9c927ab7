"""The bench page as a person starts it, in a process of its own, spoken to over a plain socket."""

from __future__ import annotations

import http.client
import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode


@dataclass
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode("utf-8", "replace")


@dataclass
class Server:
    """A page that runs: its process, port and key."""

    process: subprocess.Popen[str]
    port: int
    key: str
    said: list[str] = field(default_factory=list)

    @property
    def home(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def ask(
        self, method: str, path: str, query: Mapping[str, str] | None = None, form: Mapping[str, str] | None = None
    ) -> Answer:
        """A request as the page's own script sends it."""
        address = path + ("?" + urlencode(query) if query else "")
        headers = {"Cookie": f"bench-{self.port}={self.key}", "Origin": self.home}
        body = None
        if form is not None:
            body, headers["Content-Type"] = urlencode(form), "application/x-www-form-urlencoded"
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        try:
            line.request(method, address, body, headers)
            heard = line.getresponse()
            return Answer(heard.status, {k.lower(): v for k, v in heard.getheaders()}, heard.read())
        finally:
            line.close()

    def raw(self, text: str | bytes, patience: float = 120.0) -> bytes:
        """What a server says to these bytes until it closes, or a whole answer is there."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=patience) as line:
            line.sendall(text.encode("latin-1") if isinstance(text, str) else text)
            return heard(line)

    def end(self, by: int = signal.SIGTERM) -> int:
        """Tell it to end; its exit status."""
        if self.process.poll() is None:
            self.process.send_signal(by)
        try:
            self.process.communicate(timeout=120)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.communicate()
            raise
        return self.process.returncode


def heard(line: socket.socket) -> bytes:
    """One whole answer, or what came before the other side closed."""
    data = b""
    while True:
        try:
            more = line.recv(65536)
        except ConnectionResetError:
            return data
        data += more
        head, _, body = data.partition(b"\r\n\r\n")
        length = re.search(rb"(?i)content-length: *(\d+)", head)
        if not more or (length and len(body) >= int(length[1])) or head.startswith(b"HTTP/1.1 204"):
            return data
        if b"chunked" in head.lower() and body.endswith(b"0\r\n\r\n"):
            return data


def free_port() -> int:
    with socket.socket() as made:
        made.bind(("127.0.0.1", 0))
        return int(made.getsockname()[1])


def start(folder: Path, environment: Mapping[str, str] | None = None, words: list[str] | None = None) -> Server:
    """Start the page on a folder and wait until it says its address."""
    port = free_port()
    command = words or [sys.executable, "-m", "layup", "bench"]
    process = subprocess.Popen(
        [*command, str(folder), "--no-browser", "--port", str(port)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        text=True, env={**os.environ, **(environment or {})}, cwd=folder,
    )  # fmt: skip
    assert process.stdout is not None
    said = []
    for line in process.stdout:
        said.append(line)
        found = re.search(r"http://127\.0\.0\.1:(\d+)/\?key=(\S+)", line)
        if found:
            return Server(process, int(found[1]), found[2], said)
    process.wait()
    raise AssertionError("".join(said))
