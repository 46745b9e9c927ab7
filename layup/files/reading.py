"""How a file is read: a plain one only, and not more of it than its kind ever needs.

- All of it:             `read_file(path, most)`
- May it be read?        `check_plain(path, most)`, for a library that opens it by itself

A pipe, a device or a folder under the name of a file would be waited for, or read, without end. What is wrong is an
`OSError` with words in `strerror`, as where a file is missing, so that a reader says it in its own sentence.
"""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

TEXT = 5_000_000
"""A part file or a refit file; the longest of ours has 6,000. [bytes]"""
LONGEST = 100_000
"""A line of a table; the reader of tables itself fails at a cell of 131,072. [-]"""
TABLE = 50_000_000
"""A table, a list or a record that was exported. [bytes]"""


def check_plain(path: Path, most: int) -> int:
    """Refuse what is no plain file, or is too large.

    Args:
        path: The file; a link is followed.
        most: How large it may be. [bytes]

    Returns:
        Its size. [bytes]

    Raises:
        OSError: It is missing, no plain file, or too large.
    """
    if "\0" in str(path):
        raise OSError(errno.EINVAL, "a file's name can't hold a character of value 0")
    there = path.stat()
    if stat.S_ISDIR(there.st_mode):
        raise IsADirectoryError(errno.EISDIR, "it is a folder")
    if not stat.S_ISREG(there.st_mode):
        raise OSError(errno.EINVAL, "it is not a plain file but a pipe or a device: save a copy of what it gives")
    if there.st_size > most:
        raise too_large(there.st_size, most)
    return there.st_size


def too_large(size: int, most: int) -> OSError:
    """What is said of a file that holds more than is read."""
    return OSError(errno.EFBIG, f"it has {size / 1e6:,.0f} MB; files of this kind are read up to {most / 1e6:,.0f} MB")


def read_file(path: Path, most: int) -> bytes:
    """The content of a file.

    Args:
        path: The file; a link is followed.
        most: How large it may be. [bytes]

    Raises:
        OSError: It is missing, no plain file, too large, or can't be read.
    """
    check_plain(path, most)
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as file:  # and if it became a pipe meanwhile, it is not waited for
        data = file.read(most + 1)
    if len(data) > most:  # it grew
        raise too_large(len(data), most)
    return data
