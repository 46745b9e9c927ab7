"""Open the page: on loopback only, with a key that is new at every start."""

from __future__ import annotations

import secrets
import signal
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

from layup.errors import LayupError

USUAL = 8437
"""Port tried first, so that the address stays the same from day to day. [-]"""


def listen(port: int | None) -> socket.socket:
    """A socket of this machine only.

    Args:
        port: Which; None takes the usual one, or any that is free.

    Raises:
        LayupError: Another program has it.
    """
    for wanted in (port,) if port is not None else (USUAL, 0):
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if sys.platform == "win32":  # there, another program could take the address over otherwise
            made.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind(("127.0.0.1", wanted))
        except (OSError, OverflowError):
            made.close()
            continue
        made.listen(128)
        return made
    raise LayupError(f"port {port} is taken by another program. Leave --port out, and a free one is found")


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

    from layup.bench.app import build

    if not folder.is_dir():
        raise LayupError(f'there is no folder "{folder}". Name the folder that holds your part files')
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
    if open_browser:
        threading.Timer(0.4, webbrowser.open, (address,)).start()
    try:
        server.run(sockets=[made])
    finally:
        guard.close()
        made.close()
