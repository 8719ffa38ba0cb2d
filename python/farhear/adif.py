"""A log as ADIF, the interchange format of amateur logging: read it, or hand it on with its limits.

ADIF cannot hold a log of checks. What is lost or bent, and said when writing:

- only checks with outcome heard or carrier_only go out; not heard, blocked and not checked cannot
  be said in it, so rates cannot be worked out from the copy;
- times are whole seconds; texts are ASCII, other characters become ``?``;
- BAND is left out: its list has amateur bands only, and its 60M is not the broadcast band;
- a broadcaster's name stands in CALL, for lack of a call sign;
- all else (outcome, ratings, the name as written) stands in fields of the form APP_FARHEAR_NAME,
  which other programs may drop.

It is a copy to hand on, never the store.

References
----------
.. [1] ADIF 3.1.6 (adif.org): QSO_DATE, TIME_ON, QSO_DATE_OFF, TIME_OFF in UTC; FREQ in MHz; SSB
   with the submodes LSB and USB; SWL for reports of listeners; application-defined fields. Field
   list read in a machine-readable copy; ASCII only in .adi files at second hand.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal, DecimalException
from typing import Any

import pandas as pd

from farhear._core import __version__
from farhear.errors import InputError
from farhear.tables import MAX_ROWS, Fault, RawRow, decode, said_by

__all__ = ["LIMITS", "adif_bytes", "adif_rows"]

LIMITS = (
    "ADIF holds only what was heard, to the second, in ASCII, without a band; keep the log itself"
)
"""One sentence for those who get such a file."""

_PREFIX = "APP_FARHEAR_"
_SENT = ("heard", "carrier_only")
_OWN_FIELDS = ("start_utc", "end_utc", "freq_khz", "demod")
_DATE = re.compile(r"\d{8}", re.ASCII)
_TIME = re.compile(r"\d{4}(\d{2})?", re.ASCII)


def adif_rows(
    data: bytes, source: str, names: Sequence[str], encoding: str | None = None
) -> tuple[tuple[str, ...], list[RawRow], list[Fault]]:
    """Records as rows of a log with the columns `names`; rows are counted from 1.

    Raises
    ------
    InputError
        On what is no ADIF: no field at all, a header without end, a field twice in a record.
    """
    import adif_io

    text = decode(data, source, encoding)
    if not re.search(r"<\w+:\d+(:[^>]*)?>", text, re.ASCII):
        raise InputError(f"{source} is not ADIF: it has no field such as <FREQ:5>9.505")
    try:
        records, _ = adif_io.read_from_string(text)
    except adif_io.AdifHeaderWithoutEOHError:
        raise InputError(f"{source} is not ADIF: its header has no <EOH>") from None
    except (adif_io.AdifError, ValueError, IndexError, OverflowError) as cause:
        raise InputError(f"{source} is not ADIF: {said_by(cause)}") from None
    if len(records) > MAX_ROWS:
        raise InputError(f"{source} has more than {MAX_ROWS} records, the stated limit")
    rows: list[RawRow] = []
    faults: list[Fault] = []
    for number, record in enumerate(records, start=1):
        values = _values(record, number, faults)
        rows.append((number, number, tuple(values.get(name, "") for name in names)))
    rest = re.split(r"<eor>|<eoh>", text, flags=re.IGNORECASE)[-1]
    if rest.strip():
        number = len(records) + 1
        rows.append((number, number, ("",) * len(names)))
        faults.append((number, "", rest.strip(), "the record is cut off: no <EOR> after it"))
    return tuple(names), rows, faults


def _values(record: Mapping[str, str], row: int, faults: list[Fault]) -> dict[str, str]:
    """One record in our columns; what it does not have is left out."""
    out = {
        key.removeprefix(_PREFIX).lower(): value
        for key, value in record.items()
        if key.startswith(_PREFIX)
    }
    out.setdefault("outcome", "heard")
    out.setdefault("identity", record.get("CALL", ""))
    notes = record.get("COMMENT", "") or record.get("NOTES", "")
    out.setdefault("notes", " / ".join(notes.splitlines()))
    mode = record.get("MODE", "").upper()
    if mode in ("AM", "SSB"):
        out["demod"] = "AM" if mode == "AM" else record.get("SUBMODE", "").upper()
    elif mode:
        faults.append((row, "demod", mode, "neither AM nor SSB: no broadcast as farhear logs it"))
    start, end = record.get("TIME_ON", ""), record.get("TIME_OFF", "")
    day = record.get("QSO_DATE", "")
    out["start_utc"] = _instant(day, start)
    if end:
        out["end_utc"] = _instant(record.get("QSO_DATE_OFF") or _day_off(day, start, end), end)
    else:
        faults.append((row, "end_utc", "", "TIME_OFF is missing; a check needs its end"))
    freq = record.get("FREQ", "")
    try:
        out["freq_khz"] = _plain(Decimal(freq).scaleb(3)) if freq else ""
    except DecimalException:
        out["freq_khz"] = freq
    if not freq and record.get("BAND"):
        faults.append((row, "freq_khz", record["BAND"], "FREQ is missing; a band is no frequency"))
    return out


def _plain(value: Decimal) -> str:
    """A decimal number without an exponent and without zeros at its end."""
    if not value.is_finite() or abs(value) > 10**9:
        return str(value)
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _instant(day: str, time: str) -> str:
    """RFC 3339 of a date and a time of ADIF; as it is where it has another form."""
    if not _DATE.fullmatch(day) or not _TIME.fullmatch(time):
        return f"{day} {time}".strip()
    seconds = f":{time[4:]}" if len(time) == 6 else ""
    return f"{day[:4]}-{day[4:6]}-{day[6:]}T{time[:2]}:{time[2:4]}{seconds}Z"


def _day_off(day: str, start: str, end: str) -> str:
    """The date of the end where none is given: less than 24 hours after the start [1]_."""
    if not _DATE.fullmatch(day) or end.ljust(6, "0") >= start.ljust(6, "0"):
        return day
    try:
        after = dt.datetime.strptime(f"{day}Z", "%Y%m%d%z") + dt.timedelta(days=1)
    except (ValueError, OverflowError):
        return day
    return f"{after:%Y%m%d}"


def adif_bytes(frame: pd.DataFrame) -> tuple[bytes, list[str]]:
    """Write the heard checks of a log's frame; return the file and what it could not hold."""
    import adif_io

    sent = frame[frame["outcome"].isin(_SENT)]
    notes = []
    if len(sent) < len(frame):
        count = len(frame) - len(sent)
        notes.append(f"{count} of {len(frame)} checks left out: ADIF cannot say 'not heard'")
    replaced = cut = 0
    parts = []
    for check in sent.to_dict("records"):
        fields = _fields(check)
        ascii_fields = {k: v.encode("ascii", "replace").decode("ascii") for k, v in fields.items()}
        replaced += ascii_fields != fields
        cut += any(check[name].microsecond for name in ("start_utc", "end_utc"))
        parts.append(str(adif_io.qso_from_dict(ascii_fields)))
    if replaced:
        notes.append(f"{replaced} checks have characters outside ASCII, written as ?")
    if cut:
        notes.append(f"{cut} checks have fractions of a second, dropped")
    header = adif_io.headers_from_dict(
        {"ADIF_VER": "3.1.6", "PROGRAMID": "farhear", "PROGRAMVERSION": __version__}
    )
    return (f"{LIMITS}\n{header}" + "".join(parts)).encode("ascii"), notes


def _fields(check: Mapping[Any, Any]) -> dict[str, str]:
    start, end = check["start_utc"], check["end_utc"]
    khz = Decimal(repr(float(check["freq_khz"])))
    out = {
        "QSO_DATE": f"{start:%Y%m%d}",
        "TIME_ON": f"{start:%H%M%S}",
        "QSO_DATE_OFF": f"{end:%Y%m%d}",
        "TIME_OFF": f"{end:%H%M%S}",
        "FREQ": _plain(khz.scaleb(-3)),
        "SWL": "Y",
        "CALL": check.get("identity", ""),
        "COMMENT": check.get("notes", ""),
    }
    demod = check.get("demod", "")
    if demod:
        out |= {"MODE": "AM"} if demod == "AM" else {"MODE": "SSB", "SUBMODE": demod}
    for name, value in check.items():
        if name == "row" or name in _OWN_FIELDS or name == "notes" or value != value:
            continue
        text = repr(value).removesuffix(".0") if isinstance(value, float) else str(value)
        if text:
            out[f"{_PREFIX}{name.upper()}"] = text
    return {name: value for name, value in out.items() if value}
