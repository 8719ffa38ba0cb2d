"""Data sets that travel inside the package. No network, no guessing of folders."""

from importlib.resources import files


def read_bytes(data_set: str, name: str) -> bytes:
    """Return the bytes of `data/<data_set>/<name>` as shipped."""
    return (files("farhear") / "data" / data_set / name).read_bytes()


def read_text(data_set: str, name: str) -> str:
    """Return the text of `data/<data_set>/<name>` as shipped, UTF-8."""
    return read_bytes(data_set, name).decode("utf-8")
