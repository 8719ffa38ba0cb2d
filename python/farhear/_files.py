"""Writing a file so that a crash leaves the old one whole, and values of TOML."""

import contextlib
import json
import os
import secrets
import shutil
from pathlib import Path
from typing import Any


def put(path: Path, data: bytes) -> None:
    """Write beside `path`, have it on the disk, rename; the old file stays whole until then.

    Raises
    ------
    OSError
        The disk did not take it; `path` is as it was and nothing is left beside it.
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
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise
    if os.name == "posix":  # so that the new name lasts; the old file is gone by now
        with contextlib.suppress(OSError):
            folder = os.open(path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)


def toml_value(value: Any) -> str:
    """Texts, finite numbers, truth values and lists of these as TOML.

    They are written as in JSON, but for the character DEL.
    """
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
