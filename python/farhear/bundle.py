"""A study as a bundle: digests that anyone can check, tables that say what is in them, one archive.

Every bundle has two lists of its files. `manifest-sha256.txt` is what `sha256sum -c` reads, so that
no program of ours is needed to see whether a byte of any file changed. `datapackage.json` is a Data
Package (version 2) with a schema, the size and the SHA-256 of each table.

An archive is a zip whose entries are stored, not compressed, in the order of their names and with
one fixed time: its bytes then depend on nothing but the files. It is opened with suspicion: names
that leave the folder, links, doubles, and more than can be meant are refused before anything is
written.
"""

from __future__ import annotations

import csv
import hashlib
import json
import re
import shutil
import stat
import struct
import tempfile
import unicodedata
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from farhear._files import put
from farhear.errors import InputError
from farhear.tables import frame_of, said_by

__all__ = [
    "DESCRIPTOR",
    "MANIFEST",
    "MOST_BYTES",
    "MOST_FILES",
    "Fault",
    "fields_of",
    "opened",
    "pack_folder",
    "schema_faults",
    "seal",
    "seal_faults",
    "unpack",
    "write_crate",
]

MANIFEST = "manifest-sha256.txt"
DESCRIPTOR = "datapackage.json"
CRATE = "ro-crate-metadata.json"
MOST_FILES = 5000
"""An archive with more entries is refused."""
MOST_BYTES = 2**30
"""An archive that would unpack to more is refused. [byte]"""

_TIME = (1980, 1, 1, 0, 0, 0)  # the first that a zip can hold
_PACKAGE = "https://datapackage.org/profiles/2.0/datapackage.json"
_CHUNK = 2**20
_LISTED_BYTES = 1000  # of an archive's list, for one entry at most
_DEVICE = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")  # no files on Windows
# what the library raises on an archive that is none, an OSError where it is sent before its begin
_DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    RuntimeError,
    ValueError,
    OSError,
)
_INTEGER = r"[+-]?\d{1,15}"
_NUMBER = r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with a bundle: which file, and what."""

    path: str
    reason: str

    def __str__(self) -> str:
        return f"{self.path}: {self.reason}"


def _files_of(folder: Path) -> list[str]:
    """Names of all files, with slashes, sorted; hidden ones and links are refused."""
    out = []
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink():
            raise InputError(f"{name} is a link; a bundle holds plain files only")
        if path.is_file():
            _check_name(name)
            out.append(name)
    return sorted(out)


def _check_name(name: str) -> None:
    """Refuse a name that is none inside a folder, on any system."""
    if (
        not name.isprintable()
        or set(name) & set('\\:*?"<>|')
        or len(name) > 200
        or any(
            part == "" or part[0] == "." or part[-1] in ". " or _DEVICE.fullmatch(part)
            for part in name.split("/")
        )
    ):
        raise InputError(f"{name!r} is no name of a file inside a bundle")


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, as hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


# Sealing ----------------------------------------------------------------------------------------


def fields_of(path: Path) -> list[dict[str, str]]:
    """Fields of a CSV file as a table schema has them: number where all cells are, else text."""
    frame = frame_of(path, path.name, dtype=str, keep_default_na=False)
    out = []
    for name in frame.columns:
        cells = frame[name][frame[name] != ""]
        kind = "string"
        if len(cells) and cells.str.fullmatch(_INTEGER).all():
            kind = "integer"
        elif len(cells) and cells.str.fullmatch(_NUMBER).all():
            kind = "number"
        out.append({"name": str(name), "type": kind})
    return out


def seal(
    folder: Path,
    *,
    name: str,
    title: str,
    tables: Mapping[str, Sequence[Mapping[str, Any]]],
    licences: Sequence[Mapping[str, str]],
    sources: Sequence[str],
    contributors: Sequence[Mapping[str, Any]],
) -> None:
    """Write the two lists of a bundle's files.

    Parameters
    ----------
    folder
        The bundle.
    name, title
        Of the package; `name` in small letters, digits and dashes.
    tables
        File of each table, with the fields of its schema in order.
    licences, sources, contributors
        As in a Data Package.
    """
    resources: list[dict[str, Any]] = []
    for path, columns in sorted(tables.items()):
        file = folder / path
        resources.append(
            {
                "name": path.lower().translate(str.maketrans("/._", "---")),
                "type": "table",
                "path": path,
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "bytes": file.stat().st_size,
                "hash": f"sha256:{sha256_of(file)}",
                "schema": {"fields": list(columns), "missingValues": [""]},
            }
        )
    package = {
        "$schema": _PACKAGE,
        "name": name,
        "title": title,
        "licenses": list(licences),
        "sources": [{"title": source} for source in sources],
        "contributors": list(contributors),
        "resources": resources,
    }
    text = json.dumps(package, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    put(folder / DESCRIPTOR, text.encode("utf-8"))
    _write_manifest(folder)


def _write_manifest(folder: Path) -> None:
    lines = [
        f"{sha256_of(folder / path)}  {path}\n" for path in _files_of(folder) if path != MANIFEST
    ]
    put(folder / MANIFEST, "".join(lines).encode("utf-8"))


def write_crate(folder: Path, *, date: str) -> None:
    """Add RO-Crate 1.1 metadata for a deposit in a repository, made from the descriptor.

    Parameters
    ----------
    folder
        A sealed bundle; it is sealed again.
    date
        Of publication, 2026-11-25.

    References
    ----------
    RO-Crate Metadata Specification 1.1, researchobject.org.
    """
    package = read_json(folder / DESCRIPTOR)
    people = [
        {"@id": f"#{i}", "@type": "Person", "name": one["title"]}
        for i, one in enumerate(package["contributors"], 1)
    ]
    files = [
        {
            "@id": path,
            "@type": "File",
            "name": path,
            "contentSize": str((folder / path).stat().st_size),
            "sha256": sha256_of(folder / path),
        }
        for path in _files_of(folder)
        if path not in (MANIFEST, CRATE)
    ]
    root = {
        "@id": "./",
        "@type": "Dataset",
        "name": package["title"],
        "description": "A reception study of shortwave broadcasts; see README.md.",
        "datePublished": date,
        "license": {"@id": package["licenses"][0]["path"]},
        "author": [{"@id": one["@id"]} for one in people],
        "hasPart": [{"@id": one["@id"]} for one in files],
    }
    licence = {
        "@id": package["licenses"][0]["path"],
        "@type": "CreativeWork",
        "name": package["licenses"][0]["name"],
    }
    head = {
        "@id": CRATE,
        "@type": "CreativeWork",
        "conformsTo": {"@id": "https://w3id.org/ro/crate/1.1"},
        "about": {"@id": "./"},
    }
    content = {
        "@context": "https://w3id.org/ro/crate/1.1/context",
        "@graph": [head, root, licence, *people, *files],
    }
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    put(folder / CRATE, text.encode("utf-8"))
    _write_manifest(folder)


def seal_faults(folder: Path) -> list[Fault]:
    """What differs between a bundle's files and its two lists; empty where all is as sealed."""
    try:
        present = _files_of(folder)
    except InputError as fault:
        return [Fault(folder.name, str(fault))]
    if MANIFEST not in present:
        return [Fault(MANIFEST, "is missing")]
    out = []
    listed: dict[str, str] = {}
    text = (folder / MANIFEST).read_bytes()
    for number, line in enumerate(text.split(b"\n")[:-1] if text.endswith(b"\n") else [b""], 1):
        digest, gap, name = line.decode("utf-8", errors="replace").partition("  ")
        try:
            if not gap or len(digest) != 64 or set(digest) - set("0123456789abcdef"):
                raise InputError("is no digest, two blanks and a name")
            _check_name(name)
            if name in listed:
                raise InputError(f"{name} stands there twice")
        except InputError as fault:
            out.append(Fault(MANIFEST, f"line {number} {fault}"))
            continue
        listed[name] = digest
    for name, digest in listed.items():
        if name not in present:
            out.append(Fault(name, "is missing"))
        elif sha256_of(folder / name) != digest:
            out.append(Fault(name, "has changed: its SHA-256 is not that of the manifest"))
    out += [
        Fault(name, "is not in the manifest") for name in present if name not in (*listed, MANIFEST)
    ]
    return out + _descriptor_faults(folder, listed)


def read_json(path: Path) -> Any:
    """A JSON file; NaN and infinities, which JSON does not have, are refused."""

    def refuse(token: str) -> None:
        raise InputError(f"{path.name} holds {token}, which is no number in JSON")

    try:
        return json.loads(path.read_bytes().decode("utf-8"), parse_constant=refuse)
    except (ValueError, RecursionError) as cause:
        raise InputError(f"{path.name} is not JSON: {cause}") from None


def _descriptor_faults(folder: Path, listed: Mapping[str, str]) -> list[Fault]:
    if not (folder / DESCRIPTOR).is_file():
        return [Fault(DESCRIPTOR, "is missing")]
    try:
        package = read_json(folder / DESCRIPTOR)
        resources = {one["path"]: one["hash"] for one in package["resources"]}
    except (InputError, KeyError, TypeError) as fault:
        return [Fault(DESCRIPTOR, f"cannot be used: {fault}")]
    out = []
    for path, digest in resources.items():
        if path not in listed:
            out.append(Fault(DESCRIPTOR, f"names {path!r}, which the manifest does not have"))
        elif digest != f"sha256:{listed[path]}":
            out.append(Fault(DESCRIPTOR, f"has another digest of {path} than the manifest"))
    return out


def validated(folder: Path) -> Any:
    """The frictionless library's report on a folder.

    The library raises the longest cell of the csv module for the whole process when it is first
    used; it is set back here.
    """
    limit = csv.field_size_limit()
    try:
        from frictionless import Package, system

        package = read_json(folder / DESCRIPTOR)
        resources = [_own_words(one) for one in package["resources"]]
        with system.use_context(trusted=False, onerror="ignore"):
            return Package.from_descriptor(
                {"name": "package", "resources": resources}, basepath=str(folder)
            ).validate()
    finally:
        csv.field_size_limit(limit)


def _own_words(resource: Mapping[str, Any]) -> dict[str, Any]:
    """What a resource of ours says, and nothing that the library could follow somewhere else."""
    _check_name(resource["path"])
    out = {
        key: resource[key]
        for key in ("name", "path", "encoding", "bytes", "hash")
        if isinstance(resource.get(key), (str, int))
    }
    fields = [
        {"name": str(one["name"]), "type": str(one["type"])} for one in resource["schema"]["fields"]
    ]
    schema = {"fields": fields, "missingValues": [""]}
    return out | {"type": "table", "format": "csv", "mediatype": "text/csv", "schema": schema}


def schema_faults(folder: Path) -> list[Fault]:
    """Where a table does not keep to its schema, by the frictionless library: file, row, field."""
    try:
        report = validated(folder)
    except Exception as fault:  # the library raises many kinds on a descriptor that is none
        return [Fault(DESCRIPTOR, f"is no Data Package: {fault}")]
    out = [Fault(DESCRIPTOR, error.message) for error in report.errors]
    for task in report.tasks:
        for error in task.errors:
            place = "".join(
                f", {what} {value}"
                for what, key in (("line", "row_number"), ("column", "field_name"))
                if (value := getattr(error, key, None)) is not None
            )
            out.append(Fault(str(task.place), f"{error.message}{place}"))
    return out


# Archive ----------------------------------------------------------------------------------------


def pack_folder(folder: Path, path: Path) -> None:
    """Write a folder as one archive, the same bytes for the same files.

    Raises
    ------
    InputError
        When the folder holds a link, a hidden file or a name that others could not unpack.
    OSError
        When the archive cannot be written.
    """
    with tempfile.TemporaryFile() as buffer:
        with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
            for name in _files_of(folder):
                entry = zipfile.ZipInfo(name, _TIME)
                entry.create_system = 3
                entry.external_attr = (stat.S_IFREG | 0o644) << 16
                archive.writestr(entry, (folder / name).read_bytes())
        buffer.seek(0)
        put(path, buffer.read())


@contextmanager
def opened(path: str | Path) -> Iterator[Path]:
    """A bundle as a folder: itself, or an archive unpacked to a place that goes away afterwards.

    Raises
    ------
    InputError
        On an archive that is damaged, or holds what no bundle holds; nothing is left then.
    OSError
        When it cannot be opened.
    """
    path = Path(path)
    if path.is_dir():
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="farhear-") as place:
        folder = Path(place) / path.stem
        unpack(path, folder)
        yield folder


def unpack(path: Path, folder: Path) -> None:
    """Unpack an archive into a folder that is not there yet; all of it or nothing.

    Raises
    ------
    InputError
        As :func:`opened`; when the folder is there already.
    """
    if folder.exists():
        raise InputError(f"{folder} is there already; name another folder")
    _check_list(path)
    with path.open("rb") as file:
        try:
            archive = zipfile.ZipFile(file)
        except _DAMAGE as fault:
            raise InputError(
                f"{path.name} is damaged or no zip archive: {said_by(fault)}"
            ) from None
        entries = _entries(archive, path.name)
        stage = Path(tempfile.mkdtemp(prefix=".farhear-", dir=folder.parent))
        try:
            for entry in entries:
                _extract(archive, entry, stage / entry.filename, path.name)
            stage.rename(folder)
        except BaseException:
            shutil.rmtree(stage, ignore_errors=True)
            raise


def _check_list(path: Path) -> None:
    """Refuse a list of entries that would fill the memory when it is read.

    Its size stands at byte 12 of the end record, which a comment of 64 KiB may follow; a larger
    form (zip64) has a record of its own before that. APPNOTE 6.3, sections 4.3.15 and 4.3.16.
    """
    with path.open("rb") as file:
        file.seek(max(0, file.seek(0, 2) - 2**16 - 100))
        tail = file.read()
    at = tail.rfind(b"PK\x05\x06")
    if at < 0:
        return  # no archive, as will be found
    listed = int.from_bytes(tail[at + 12 : at + 16], "little")
    if listed > MOST_FILES * _LISTED_BYTES or tail[max(0, at - 20) : at].startswith(b"PK\x06\x07"):
        raise InputError(f"{path.name} has too many entries; {MOST_FILES} are the most")


def _entries(archive: zipfile.ZipFile, source: str) -> list[zipfile.ZipInfo]:
    """Files of an archive, after all that can be told before unpacking."""
    entries = archive.infolist()
    if len(entries) > MOST_FILES:
        raise InputError(f"{source} has {len(entries)} entries; {MOST_FILES} are the most")
    total = sum(entry.file_size for entry in entries)
    if total > MOST_BYTES:
        raise InputError(
            f"{source} would unpack to {total // 2**20} MiB; {MOST_BYTES // 2**20} is the most"
        )
    seen: set[str] = set()
    files: set[str] = set()
    out = []
    for entry in entries:
        name = entry.filename
        kind = stat.S_IFMT(entry.external_attr >> 16)
        try:
            _check_name(name.removesuffix("/") if entry.is_dir() else name)
        except InputError as fault:
            raise InputError(f"{source}: {fault}") from None
        if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
            raise InputError(f"{source}: {name} is a link or a device; only plain files are taken")
        key = unicodedata.normalize("NFC", name.removesuffix("/")).casefold()
        if key in seen:
            raise InputError(f"{source}: {name} stands there twice")
        seen.add(key)
        if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise InputError(f"{source}: {name} is packed in a way that no study is")
        if entry.flag_bits & 1:
            raise InputError(f"{source}: {name} is encrypted")
        if not entry.is_dir():
            out.append(entry)
            files.add(key)
    for key in seen:
        for at in (i for i, letter in enumerate(key) if letter == "/"):
            if key[:at] in files:
                raise InputError(f"{source}: {key[:at]} is a file and a folder")
    return out


def _pieces(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, source: str) -> Iterator[bytes]:
    try:
        with archive.open(entry) as file:
            while chunk := file.read(_CHUNK):
                yield chunk
    except _DAMAGE as fault:
        raise InputError(f"{source}: {entry.filename} is damaged: {said_by(fault)}") from None


def _extract(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, path: Path, source: str) -> None:
    """One file; not a byte more than the archive's list promised."""
    path.parent.mkdir(parents=True, exist_ok=True)
    left = entry.file_size
    with path.open("xb") as out:
        for chunk in _pieces(archive, entry, source):
            left -= len(chunk)
            if left < 0:
                raise InputError(f"{source}: {entry.filename} is larger than it says")
            out.write(chunk)
    if left:
        raise InputError(f"{source}: {entry.filename} is shorter than it says")
