"""Writing a file so that a crash leaves the old one whole, one writer at a time; values of TOML."""

import contextlib
import json
import os
import secrets
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from farhear.errors import InputError

_PARTS = (".farhear-*.part", ".part-*")


def put(path: Path, data: bytes) -> None:
    """Write beside `path`, have it on the disk, rename; the old file stays whole until then.

    Raises
    ------
    OSError
        The disk did not take it; `path`, which it names, is as it was and nothing is left beside
        it.
    """
    part = path.with_name(f".farhear-{secrets.token_hex(8)}.part")
    try:
        with part.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if path.exists():
            shutil.copymode(path, part)
        part.replace(path)
    except BaseException as fault:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        if isinstance(fault, OSError) and fault.errno is not None:
            raise OSError(fault.errno, fault.strerror, str(path)) from None
        raise
    if os.name == "posix":  # so that the new name lasts; the old file is gone by now
        with contextlib.suppress(OSError):
            folder = os.open(path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)


@contextlib.contextmanager
def alone(folder: Path, *, busy: str = "", shared: bool = False) -> Iterator[None]:
    """Keep other programs from changing a folder's files by this module's users meanwhile.

    Parameters
    ----------
    folder
        Has to exist. Nothing is written into it, so that nothing can be left behind.
    busy
        What to say when another one is at it; empty: wait until it is done.
    shared
        Only readers come in; they do not mind each other.

    Raises
    ------
    InputError
        The words of `busy`.

    Notes
    -----
    A lock of the system on the folder, which ends with the program. Where there is none (Windows,
    some network folders) nothing is kept out, and only one program may write at a time.
    """
    if os.name != "posix":
        yield
        return
    import fcntl

    how = fcntl.LOCK_SH if shared else fcntl.LOCK_EX
    handle = os.open(folder, os.O_RDONLY)
    try:
        try:
            fcntl.flock(handle, how | (fcntl.LOCK_NB if busy else 0))
        except BlockingIOError:
            raise InputError(busy) from None
        except OSError:  # a file system without locks
            pass
        yield
    finally:
        os.close(handle)


def sweep(folder: Path) -> None:
    """Remove what writers that were killed left unfinished in a folder and below."""
    for pattern in _PARTS:
        for part in folder.rglob(pattern):
            part.unlink(missing_ok=True)


def toml_value(value: Any) -> str:
    """Texts, finite numbers, truth values and lists of these as TOML.

    They are written as in JSON, but for the character DEL.
    """
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
