"""One at a time: threads of this page, and other pages that were started on the same folder.

The system lets go of the lock when a program ends, however it ends; so nothing is left to clear away after a crash.
"""

from __future__ import annotations

import errno
import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from layup.errors import LayupError
from layup.files.systems import lock, unlock

FILE = ".bench-lock"
_NO_LOCKS = (errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP)


class Alone:
    """The right to change the files of a folder, held by one at a time."""

    def __init__(self, folder: Path, patience: float) -> None:
        """Open the file that stands for it.

        Args:
            folder: The shop's.
            patience: How long to wait for another. [s]

        Raises:
            LayupError: The folder can't be written to.
        """
        path = folder / FILE
        self._patience = patience
        self._threads = threading.RLock()
        self._depth = 0
        if path.is_symlink():
            raise LayupError(f"{FILE} in this folder is a link to elsewhere. Move it away, and start again")
        try:
            self._handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o644)
        except OSError as error:
            raise LayupError(
                f"this folder can't be written to ({error.strerror}). The page keeps every change in it: copy the "
                "folder to where you may write, and start there"
            ) from None

    def close(self) -> None:
        """Close the file."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1

    @contextmanager
    def held(self) -> Iterator[None]:
        """Hold it; whoever holds it may ask again.

        Raises:
            LayupError: Another does not let go.
        """
        if not self._threads.acquire(timeout=self._patience):
            raise _busy()
        try:
            if self._depth == 0:
                self._take()
            self._depth += 1
            try:
                yield
            finally:
                self._depth -= 1
                if self._depth == 0:
                    unlock(self._handle)
        finally:
            self._threads.release()

    def _take(self) -> None:
        until = time.monotonic() + self._patience
        while True:
            try:
                if lock(self._handle):
                    return
            except OSError as error:
                if error.errno in _NO_LOCKS:  # a disk on a network that knows none: the check before each change holds
                    return
                raise LayupError(f"{FILE} in this folder can't be used ({error.strerror})") from None
            if time.monotonic() > until:
                raise _busy()
            time.sleep(0.004)


def _busy() -> LayupError:
    return LayupError("another program is changing files of this folder, and does not end. Nothing was changed")
