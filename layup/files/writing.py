"""How a file is written: whole or not at all, never over a file that is there unless asked, never over what is read.

- May this name be written to?            `may_write(path, over, inputs)`, before the work and not after it
- Write it:                               `write_file(path, data)`
- Write over a text only if it still is what was read: `replace_text(path, before, after)`
- Which files does a part file read?      `files_named(path)`

Everything in `layup` that writes a file for a person goes through here.
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
import time
import tomllib
import uuid
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

from layup.errors import ChangedError, LayupError
from layup.files import systems

SCRATCH = ".writing-"
"""How the name of a file begins that is not whole yet. Short: the name it will get may be as long as can be."""
LEFT = 3600.0
"""A file not whole is swept after this: the program that wrote it was killed. [s]"""
LOOKED_THROUGH = 1_000_000
"""A TOML file larger than this is not looked through for names. [bytes]"""


def may_write(path: Path, over: bool = False, inputs: Iterable[Path] = ()) -> None:
    """Refuse a place that an output should not go to.

    Args:
        path: Where the output goes.
        over: Whether a file that is there may be written over.
        inputs: What the work reads, and with a TOML file what that names: never written over.

    Raises:
        LayupError: There is no such folder, it is not a plain file, it is read here, or it is there and `over` is not.
    """
    if "\0" in str(path):
        raise LayupError("a file's name can't hold a character of value 0. Write another name")
    try:
        there = path.stat()
    except FileNotFoundError:
        if not path.parent.is_dir():
            raise LayupError(
                f'"{path}" can\'t be written: there is no folder "{path.parent}". Make it first, or name another'
            ) from None
        return
    except OSError as error:
        raise LayupError(cannot(path, error)) from None
    if stat.S_ISDIR(there.st_mode):
        raise LayupError(f'"{path}" is a folder. Name a file in it')
    if not stat.S_ISREG(there.st_mode):
        raise LayupError(f'"{path}" is not a plain file. Name another')
    for read in inputs:
        for file in (read, *files_named(read)):
            if _same(there, file):
                raise LayupError(f'"{path}" is read here, and is not written over. Name another file')
    if not over:
        raise LayupError(f'"{path}" is there already. Name another file, or add --yes to write over it')


def _same(there: os.stat_result, file: Path) -> bool:
    try:
        return os.path.samestat(there, file.stat())
    except (OSError, ValueError):
        return False


def files_named(path: Path) -> Iterator[Path]:
    """Files that a TOML file names, and that those name in turn, as far as they are there.

    Args:
        path: A part file or a refit file; of any other file nothing is said.
    """
    seen: set[Path] = set()
    waiting = [path]
    while waiting:
        file = waiting.pop()
        if file.suffix.casefold() != ".toml" or file in seen or len(seen) > 500:
            continue
        seen.add(file)
        try:
            if not file.is_file() or file.stat().st_size > LOOKED_THROUGH:
                continue
            data = tomllib.loads(file.read_text(encoding="utf-8-sig"))
        except (OSError, ValueError, RecursionError):
            continue
        for word in _texts(data):
            named = file.parent / word
            with suppress(OSError, ValueError):
                if named.is_file():
                    yield named
                    waiting.append(named)


def _texts(value: object) -> Iterator[str]:
    """Every text in what TOML holds that could be a file's name."""
    if isinstance(value, str) and 0 < len(value) < 1024 and "\n" not in value:
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from _texts(one)
    elif isinstance(value, list):
        for one in value:
            yield from _texts(one)


def write_file(path: Path, data: str | bytes, new: bool = False) -> None:
    """Write a file so that it holds either what it held or all of the new content, whatever happens meanwhile.

    Args:
        path: The file; a link is followed.
        data: What it shall hold; a text is written in UTF-8, its line ends as they are.
        new: Whether the name must be free.

    Raises:
        LayupError: It can't be written; it holds what it held.
    """
    try:
        scratch, target = _written(path, data)
        try:
            place(scratch, target, new)
        finally:
            with suppress(OSError):
                scratch.unlink()
    except FileExistsError:
        raise LayupError(f'"{path.name}" is there already. Nothing was changed; try again') from None
    except UnicodeEncodeError:
        raise LayupError(f"{path.name} can't hold one of the characters. Nothing was changed") from None
    except (OSError, ValueError) as error:
        raise LayupError(cannot(path, error)) from None


def replace_text(path: Path, before: str, after: str) -> None:
    """Write a text over another, unless an editor saved the file in between: then what the editor saved stays.

    The file's old content gets a second name before the new one takes its place. An editor that writes into the file
    it has open writes into that old content, where it is found; one that puts a new file in its place is seen by the
    number the system gives each file.

    Args:
        path: The file; a link is followed.
        before: What it held when it was read.
        after: What it shall hold.

    Raises:
        ChangedError: It holds something else; it is left so.
        LayupError: It can't be written; it holds what it held.
    """
    old = before.encode()
    try:
        scratch, target = _written(path, after)
        kept = target.with_name(f"{SCRATCH}{uuid.uuid4().hex[:12]}")
        try:
            try:
                os.link(target, kept)
            except FileNotFoundError:
                raise ChangedError(f"{path.name} is not there any more. Nothing was changed") from None
            except OSError:  # a disk that knows no second names, as memory sticks
                if target.read_bytes() != old:
                    raise _changed(path) from None
                place(scratch, target)
                return
            if kept.read_bytes() != old or not os.path.samefile(kept, target):
                raise _changed(path)
            if not _swapped(scratch, target, kept):
                raise _changed(path)
            if kept.read_bytes() != old:
                os.replace(kept, target)
                raise _changed(path)
        finally:
            for file in (scratch, kept):
                with suppress(OSError):
                    file.unlink()
    except UnicodeEncodeError:
        raise LayupError(f"{path.name} can't hold one of the characters. Nothing was changed") from None
    except (OSError, ValueError) as error:
        raise LayupError(cannot(path, error)) from None


def _swapped(scratch: Path, target: Path, kept: Path) -> bool:
    """Put a file in the place of the one that has a second name; whatever else has come to that place stays there.

    Returns:
        Whether it is in place. Where names can't be exchanged, a file that an editor puts there between our last look
        and the renaming, one call of the system, is lost.
    """
    there = scratch.stat().st_ino
    if not systems.exchange(scratch, target):
        place(scratch, target)
        return True
    if os.path.samefile(scratch, kept):
        sync_folder(target.parent)
        return True
    found = scratch.stat().st_ino
    while systems.exchange(scratch, target) and scratch.stat().st_ino != there:  # an editor saved while we put back
        there, found = found, scratch.stat().st_ino
    return False


def _changed(path: Path) -> ChangedError:
    return ChangedError(f"{path.name} was changed by another program just now; your change was not made")


def _written(path: Path, data: str | bytes) -> tuple[Path, Path]:
    """A file beside the target that holds the new content and is on the disk; and the target itself."""
    raw = data.encode() if isinstance(data, str) else data
    target = path.resolve() if path.is_symlink() else path
    mode = None
    with suppress(FileNotFoundError):
        there = target.stat()
        if not stat.S_ISREG(there.st_mode):
            raise OSError(errno.EINVAL, "it is not a plain file")
        mode = there.st_mode & 0o777
        if not mode & 0o222:
            raise PermissionError(errno.EACCES, "it is write-protected")
    _sweep(target.parent)
    scratch = target.with_name(f"{SCRATCH}{uuid.uuid4().hex[:12]}")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    handle = os.open(scratch, flags, 0o666)  # less what the system takes away from every new file
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        if mode is not None:
            os.chmod(scratch, mode)
    except BaseException:  # Ctrl-C too: no scratch file is left behind
        with suppress(OSError):
            scratch.unlink()
        raise
    return scratch, target


def place(scratch: Path, path: Path, new: bool = False) -> None:
    """Give a file that is whole its name, for good.

    Args:
        scratch: The file; in the same folder.
        path: What it is called from now on.
        new: Whether that name must be free.

    Raises:
        FileExistsError: It is not.
        OSError: It can't be.
    """
    if new:
        try:
            os.link(scratch, path)
        except FileExistsError:
            raise
        except OSError:  # a disk that knows no second names, as memory sticks
            if path.exists() or path.is_symlink():
                raise FileExistsError(path) from None
            _patiently_replace(scratch, path)
        else:
            os.unlink(scratch)
    else:
        _patiently_replace(scratch, path)
    sync_folder(path.parent)


def _patiently_replace(scratch: Path, path: Path) -> None:
    """`os.replace`; on Windows a file that another program just reads can't be replaced for a moment."""
    for _ in range(50 if os.name == "nt" else 0):
        try:
            os.replace(scratch, path)
            return
        except PermissionError:
            time.sleep(0.02)
    os.replace(scratch, path)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable, where the system lets a folder be synced."""
    if hasattr(os, "O_DIRECTORY"):
        with suppress(OSError):  # some disks don't
            handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)


def _sweep(folder: Path) -> None:
    """Take away what a killed program left half written here."""
    with suppress(OSError):
        for file in folder.glob(f"{SCRATCH}*"):
            with suppress(OSError):
                if time.time() - file.stat().st_mtime > LEFT:
                    shutil.rmtree(file) if file.is_dir() else file.unlink()


def cannot(path: Path, error: OSError | ValueError) -> str:
    """Why a file can't be written, and what to do, as a sentence."""
    number = getattr(error, "errno", None)
    if number == errno.ENOSPC or number == getattr(errno, "EDQUOT", -1):
        why, remedy = "the disk is full", "make room and try again"
    elif number == errno.EROFS:
        why, remedy = "this disk can only be read", "name a folder you may write in"
    elif number == errno.ENOENT:
        why, remedy = f'there is no folder "{path.parent}"', "make it first, or name another"
    elif number == errno.ENAMETOOLONG:
        return f'"{path.name[:40]}..." can\'t be written: the name is too long. Write a shorter one'
    else:
        why = str(getattr(error, "strerror", None) or error)
        remedy = "name a folder you may write in, or another file"
    return f'"{path.name}" can\'t be written: {why}. Nothing was changed; {remedy}'
