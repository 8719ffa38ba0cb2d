"""Writing a file so that a crash leaves the old one whole."""

import os
from pathlib import Path


def put(path: Path, data: bytes) -> None:
    """Write a file beside its place, have it on the disk, and rename it."""
    part = path.with_name(f".part-{path.name}")
    try:
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    if os.name == "posix":  # the name lasts, too
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
