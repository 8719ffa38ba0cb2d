"""Reception report of one check in which a broadcaster was heard, as text and as PDF.

Everything in a report stands in the check, in the station file, or was said by the caller; nothing
is filled in from a schedule or a prediction.

.. caution:: A report goes to a stranger, who may be a government. Give only the name and address
   you want known. A report says where and when somebody listens; unless told otherwise it names a
   cell of some 100 km for the home, and neither coordinates nor the name of station or time zone.
"""

from __future__ import annotations

import datetime as dt
import re
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from farhear import clock
from farhear._files import put
from farhear.errors import InputError
from farhear.log import COLUMNS, accepted, checked_texts, doubts_of_rating
from farhear.path import from_locator, inverse, locator
from farhear.tables import Cells, near_name

if TYPE_CHECKING:
    import pandas as pd
    from fpdf import FPDF

    from farhear.station import Station

__all__ = ["RATINGS", "Report", "reception_report"]

_STRENGTH = ("barely audible", "poor", "fair", "good", "excellent")
_DEGRADED = ("extreme", "severe", "moderate", "slight", "nil")
_OVERALL = ("unusable", "poor", "fair", "good", "excellent")

RATINGS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "S": ("signal strength", _STRENGTH),
    "I": ("interference", _DEGRADED),
    "N": ("noise", _DEGRADED),
    "P": ("propagation disturbance", _DEGRADED),
    "O": ("overall rating", _OVERALL),
}
"""Letter of SINPO -> what it rates, and the words of 1 to 5. Recommendation ITU-R SM.1135, from
memory; for SIO by analogy."""

_BASES = {
    "announced": "announced on the air",
    "parallel": "the same programme on another frequency",
    "schedule": "by a schedule",
    "language": "by its language",
    "guess": "a guess",
}
_MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
_SHORT = dt.timedelta(minutes=20)  # common practice, no source
_ENOUGH_DETAILS = 3  # common practice, no source
_WIDTH = 78
_INDENT = 14
_NOT_STATED = "not stated"
_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f\ud800-\udfff]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A report as it will be sent; :func:`reception_report` makes it. Empty text: not stated.

    Attributes
    ----------
    broadcaster
        Who was heard, the identity in the log.
    tentative
        Whether it was not identified for certain.
    id_basis, id_confidence
        Words of :mod:`farhear.log`.
    start_utc, end_utc
        The check, aware, in UTC.
    local_start, local_end
        The same instants with the offset of the listener's clock.
    freq_khz, freq_measured_khz
        Nominal frequency, and as measured or None. [kHz]
    language
        ISO 639-3 code.
    details
        What was heard, as noted.
    stamps_fit
        Whether minutes stand in the details and all lie within the check.
    sinpo, sio, s_meter, local_noise, demod
        As in the log.
    receiver, antenna
        Of the setup in use on the local date of the start.
    place, listener, reply_to, remarks
        As the caller gave them; the place may be a locator.
    warnings
        What a broadcaster may doubt; not part of the report.
    """

    broadcaster: str
    tentative: bool
    id_basis: str
    id_confidence: str
    start_utc: dt.datetime
    end_utc: dt.datetime
    local_start: dt.datetime
    local_end: dt.datetime
    freq_khz: float
    freq_measured_khz: float | None
    language: str
    details: tuple[str, ...]
    stamps_fit: bool
    sinpo: str
    sio: str
    s_meter: str
    local_noise: str
    demod: str
    receiver: str
    antenna: str
    place: str
    listener: str
    reply_to: str
    remarks: str
    warnings: tuple[str, ...]

    @property
    def title(self) -> str:
        """Heading."""
        return "TENTATIVE RECEPTION REPORT" if self.tentative else "RECEPTION REPORT"

    @property
    def doubt(self) -> str:
        """The sentence on an identification that is not certain, or an empty text."""
        if self.tentative:
            return (
                "TENTATIVE: The station was not identified for certain; please treat this as a "
                "question."
            )
        if self.id_confidence == "probable":
            return "The identification is probable, not certain."
        return ""

    @property
    def request(self) -> str:
        """Closing sentence."""
        if self.tentative:
            return "Was this your transmission? Either answer would help me; thank you."
        return "If this agrees with what you sent, I should be glad of a card or letter; thank you."

    def items(self) -> list[tuple[str, list[str]]]:
        """Label and paragraphs of each item, in the order of the report."""
        when = [_span(self.start_utc, self.end_utc, "UTC")]
        when.append(f"By my clock: {_local_span(self.local_start, self.local_end)}")
        days = [(self.start_utc, self.local_start), (self.end_utc, self.local_end)]
        if any(world.date() != home.date() for world, home in days):
            when.append("The local date differs from the UTC date.")
        khz = f"{self.freq_khz:.10g} kHz"
        if self.freq_measured_khz is not None:
            khz += f" (measured: {self.freq_measured_khz:.10g} kHz)"
        known = _BASES.get(self.id_basis, _NOT_STATED)
        programme = [*self.details, *(["The minutes are in UTC."] if self.stamps_fit else [])]
        items = [
            ("Heard", [self.broadcaster, f"Identification: {known}"]),
            ("When", when),
            ("Frequency", [khz]),
            ("Language", [_language(self.language)]),
            ("Programme", programme),
            ("Reception", self._quality()),
            ("Mode", [self.demod or _NOT_STATED]),
            ("Receiver", [self.receiver or _NOT_STATED]),
            ("Antenna", [self.antenna or _NOT_STATED]),
            ("Place", [self.place]),
        ]
        if self.remarks:
            items.append(("Remarks", self.remarks.split("\n")))
        items.append(("Listener", [self.listener]))
        if self.reply_to:
            items.append(("Reply to", self.reply_to.split("\n")))
        return items

    def _quality(self) -> list[str]:
        lines = []
        if self.sinpo:
            lines += [f"SINPO {self.sinpo} (of 1 to 5, 5 is best)", *_in_words("SINPO", self.sinpo)]
        elif self.sio:
            jammed = ", jammed" if self.sio.endswith("j") else ""
            lines += [f"SIO {self.sio[:3]} (of 1 to 5, 5 is best){jammed}"]
            lines += _in_words("SIO", self.sio[:3])
        if self.s_meter:
            lines.append(f"Signal meter: {self.s_meter}")
        if self.local_noise:
            lines.append(f"Noise here on an empty channel: {self.local_noise}")
        return lines or ["not rated"]

    def text(self) -> str:
        """Return the report as plain text, lines of at most 78 characters."""
        lines = [self.title, "-" * len(self.title), ""]
        if self.doubt:
            lines += [*_wrapped(self.doubt, _WIDTH), ""]
        for label, paragraphs in self.items():
            body = [part for text in paragraphs for part in _wrapped(text, _WIDTH - _INDENT)]
            for at, part in enumerate(body):
                lines.append(f"{'' if at else label:<{_INDENT}}{part}".rstrip())
        return "\n".join([*lines, "", *_wrapped(self.request, _WIDTH), ""])

    def write_pdf(self, path: str | Path) -> None:
        """Write the report as PDF, A4; the file is there whole or not at all.

        The same report gives the same bytes; the file's date is the end of the check. Scripts whose
        letters change when joined (Arabic, for example) are set letter by letter.

        Raises
        ------
        InputError
            On another suffix than ``.pdf``, when the font (DejaVu Sans) lacks a character, or
            without the package fpdf2.
        OSError
            When the file cannot be written.
        """
        path = Path(path)
        if path.suffix.lower() != ".pdf":
            raise InputError(f"path = {path.name!r} does not end in .pdf")
        put(path, _pdf(self))


def reception_report(
    check: Mapping[str, Any] | pd.Series[Any],
    station: Station,
    *,
    listener: str,
    reply_to: str = "",
    place: str | None = None,
    remarks: str = "",
) -> Report:
    """Make the report of one check in which somebody was heard.

    A report goes to a stranger: give only the address you want known.

    Parameters
    ----------
    check
        One row of ``Log.frame``, or column -> value as :func:`farhear.log.append_check` takes it.
        A semicolon and a blank in `programme_notes` begin a new line.
    station
        For local time, receiver and antenna, and the locator. Its name, its coordinates and the
        name of its time zone do not get into the report.
    listener
        Name of the sender; a pseudonym will do.
    reply_to
        Postal or electronic address; may have several lines.
    place
        Where it was heard. None: the Maidenhead locator of 4 characters and the size of its cell.
    remarks
        Free text; may have several lines.

    Returns
    -------
    Report
        Tentative when `id_confidence` is tentative or unknown, or is empty and `id_basis` is guess.
        Warned of: less than 20 minutes, fewer than three details with minutes (``HH:MM`` or
        ``HHMM``; ``17:05-17:10`` is one), minutes outside the check, ratings that raters doubt or
        none, what is not stated, and a place within some kilometres.

    Raises
    ------
    InputError
        When the check is not one that :func:`farhear.log.read_log` would accept; when nobody was
        heard, nobody is named, no programme details are noted, or no time was spent; without a
        listener; on control characters.

    References
    ----------
    What belongs into a report, 20 minutes and three details: common practice, no source. Ratings:
    Recommendation ITU-R SM.1135, from memory.
    """
    row = _checked(check)
    start: dt.datetime = row["start_utc"].to_pydatetime()
    end: dt.datetime = row["end_utc"].to_pydatetime()
    given = {"listener": listener, "reply_to": reply_to, "remarks": remarks}
    if place is not None:
        given["place"] = place
    texts = {name: _free_text(name, value) for name, value in given.items()}
    for name in ("listener", "place"):
        if "\n" in texts.get(name, ""):
            raise InputError(f"{name} = {texts[name]!r} has a line break; write it in one line")
    if not texts["listener"]:
        raise InputError("listener is empty; a report needs a sender, a pseudonym will do")
    if texts.get("place") == "":
        raise InputError("place is empty; name it, or leave it out for the locator of 4 characters")
    zone = station.time_zone
    local_start, local_end = _local(start, zone), _local(end, zone)
    setup = station.setup_on(local_start.date())
    receiver = (setup.receiver if setup else "").strip()
    antenna = (setup.antenna if setup else "").strip() or station.antenna.strip()
    counted, outside = _stamps(row["programme_notes"], start, end)
    confidence, basis = row["id_confidence"], row["id_basis"]

    warnings = []
    if end - start < _SHORT:
        minutes = (end - start) / dt.timedelta(minutes=1)
        warnings.append(f"the check lasted {minutes:.3g} min; 20 min or more convince better")
    if counted < _ENOUGH_DETAILS:
        warnings.append(
            f"programme_notes: {counted} details with minutes within the check (HH:MM in UTC); "
            f"{_ENOUGH_DETAILS} or more convince better"
        )
    within = f"{start:%H:%M}-{end:%H:%M} UTC"
    for stamp in outside:
        ask = "local time?" if ":" in stamp else "local time, or not a time?"
        warnings.append(f"programme_notes: {stamp} is outside {within}: {ask}")
    name, rating = ("sinpo", row["sinpo"]) if row["sinpo"] else ("sio", row["sio"])
    if rating:
        for doubt in doubts_of_rating(rating.rstrip("j"), "heard"):
            warnings.append(f"{name} = {rating}: {doubt}")
    else:
        warnings.append("sinpo and sio are empty; say in remarks how well it was heard")
    if not receiver:
        warnings.append(
            f"receiver is not stated: no setup of the station names one on {local_start.date()}"
        )
    if not antenna:
        warnings.append("antenna is not stated, neither in the setup nor in the station")
    if not confidence and basis != "guess":
        warnings.append("id_confidence is empty: how sure is the identification?")
    if texts.get("place") and _FINE_PLACE.search(texts["place"]):
        warnings.append(
            f"place = {texts['place']!r} tells where you live to a few kilometres or less; "
            "a locator of 4 characters does for a report"
        )
    measured = float(row["freq_measured_khz"])
    return Report(
        broadcaster=row["identity"],
        tentative=confidence in ("tentative", "unknown") or (not confidence and basis == "guess"),
        id_basis=basis,
        id_confidence=confidence,
        start_utc=start,
        end_utc=end,
        local_start=local_start,
        local_end=local_end,
        freq_khz=float(row["freq_khz"]),
        freq_measured_khz=None if measured != measured else measured,
        language=row["language"],
        details=tuple(part for part in re.split(r";\s+", row["programme_notes"]) if part),
        stamps_fit=counted > 0 and not outside,
        sinpo=row["sinpo"],
        sio=row["sio"],
        s_meter=row["s_meter"],
        local_noise=row["local_noise"],
        demod=row["demod"],
        receiver=receiver,
        antenna=antenna,
        place=texts.get("place") or _cell_of(station),
        listener=texts["listener"],
        reply_to=texts["reply_to"],
        remarks=texts["remarks"],
        warnings=tuple(warnings),
    )


def _checked(check: Mapping[str, Any] | pd.Series[Any]) -> pd.Series[Any]:
    """One typed row of a log that is fit for a report, or the error that says what to do."""
    values = {str(name): value for name, value in check.items() if name != "row"}
    for name in values:
        if name not in COLUMNS:
            raise InputError(f"check names {name!r}, unknown{near_name(name, COLUMNS)}")
    texts = tuple(
        " ".join(checked_texts(name, [value])[0].split()) for name, value in values.items()
    )
    row = accepted(Cells("check", "", tuple(values), ((0, 0, texts),)), "check").iloc[0]
    if row["outcome"] != "heard":
        raise InputError(
            f"check: outcome = {row['outcome']!r}; a report is made of a check with outcome 'heard'"
        )
    if not row["identity"]:
        raise InputError(
            "check: identity is empty; write whom you heard, with id_confidence = 'tentative' if "
            "you are not sure"
        )
    if not row["programme_notes"]:
        raise InputError(
            "check: programme_notes is empty; a report does not invent programme details: please "
            "write down what you heard, with minutes, such as '17:02 news; 17:09 a song'"
        )
    if row["start_utc"] == row["end_utc"]:
        raise InputError(
            f"check: end_utc = {row['end_utc'].isoformat()} equals start_utc; please write when "
            "you stopped listening"
        )
    return row


def _free_text(name: str, value: object) -> str:
    if not isinstance(value, str):
        raise InputError(f"{name} = {value!r} is not text")
    text = value.replace("\r\n", "\n")
    if _CONTROL.search(text):
        raise InputError(f"{name} = {value[:80]!r} has a control character")
    if len(text) > 5000:
        raise InputError(f"{name} is longer than 5000 characters")
    return "\n".join(" ".join(line.split()) for line in text.strip().split("\n"))


# Place ------------------------------------------------------------------------------------------

# A locator of 6 or more characters, or degrees with two or more decimals.
_FINE_PLACE = re.compile(r"\b[A-R]{2}\d\d[A-X]{2}(\d\d)?\b|\d[.,]\d\d", re.ASCII | re.IGNORECASE)


def _cell_of(station: Station) -> str:
    name = str(locator(station.lat_deg, station.lon_deg, 4))
    cell = from_locator(name)
    lat, lon = float(cell.lat_deg), float(cell.lon_deg)
    half_lat, half_lon = float(cell.half_lat_deg), float(cell.half_lon_deg)
    high_km = float(inverse(lat - half_lat, lon, lat + half_lat, lon).distance_km)
    wide_km = float(inverse(lat, lon - half_lon, lat, lon + half_lon).distance_km)
    return (
        f"Maidenhead locator {name}, a cell of {high_km:.0f} km (north to south) by "
        f"{wide_km:.0f} km"
    )


# Times ------------------------------------------------------------------------------------------


def _local(instant: dt.datetime, zone: str) -> dt.datetime:
    offset = dt.timedelta(minutes=float(clock.offset_min(instant, zone)))
    return instant.astimezone(dt.timezone(offset))


def _date(day: dt.datetime) -> str:
    """Weekday, and a date with its month in letters, in no one's locale."""
    return f"{clock.WEEKDAYS[day.weekday()]}, {day.day} {_MONTHS[day.month - 1]} {day.year}"


def _span(start: dt.datetime, end: dt.datetime, clock_name: str) -> str:
    shown = "%H:%M:%S" if start.second or end.second else "%H:%M"
    first, last = f"{start:{shown}}", f"{end:{shown}}"
    if start.date() == end.date():
        return f"{_date(start)}, {first} to {last} {clock_name}"
    return f"{_date(start)}, {first} to {_date(end)}, {last} {clock_name}"


def _local_span(start: dt.datetime, end: dt.datetime) -> str:
    if start.utcoffset() == end.utcoffset():
        return _span(start, end, f"({start.tzname()})")
    return f"{_span(start, end, f'({end.tzname()})')}; the clock changed from {start.tzname()}"


_TIME = r"([01]\d|2[0-3])(:?)([0-5]\d)(?::[0-5]\d)?(?![\d:]|[.,]\d)"
_STAMPS = re.compile(
    rf"(?<![\d:.,/+]){_TIME}(?:\s*(?:-|\u2013|to)\s*{_TIME})?(?!\s*(?:[kM]?Hz|k?m|k?W|%)\b)",
    re.ASCII,
)
_ISO_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)


def _stamps(notes: str, start: dt.datetime, end: dt.datetime) -> tuple[int, list[str]]:
    """Count distinct times (or spans of time) within the check; list those outside it.

    Four digits without a colon are a time unless a unit follows; a year can be taken for one.
    """
    inside: set[str] = set()
    outside: list[str] = []
    for found in _STAMPS.finditer(_ISO_DATE.sub(" ", notes)):
        fit = True
        for hour, colon, minute in (found.groups()[:3], found.groups()[3:]):
            if hour is None or _is_within(int(hour), int(minute), start, end):
                continue
            fit = False
            outside.append(f"{hour}{colon}{minute}")
        if fit:
            inside.add(f"{found[1]}{found[3]}")
    return len(inside), list(dict.fromkeys(outside))


def _is_within(hour: int, minute: int, start: dt.datetime, end: dt.datetime) -> bool:
    first = start.replace(second=0, microsecond=0)
    at = first.replace(hour=hour, minute=minute)
    return first <= at <= end or first <= at + dt.timedelta(days=1) <= end


# Setting ----------------------------------------------------------------------------------------


def _in_words(letters: str, digits: str) -> list[str]:
    lines = []
    for letter, digit in zip(letters, digits, strict=True):
        what, words = RATINGS[letter]
        lines.append(f"{letter} {digit}  {what}: {words[int(digit) - 1]}")
    return lines


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, break_on_hyphens=False) or [""]


def _language(code: str) -> str:
    """Name and code of a language."""
    if not code:
        return _NOT_STATED
    import pycountry

    found = pycountry.languages.get(alpha_3=code)
    return f"{found.name} ({code})" if found else code


_LABEL_MM, _LINE_MM, _MARGIN_MM = 36.0, 5.4, 20.0


def _pdf(report: Report) -> bytes:
    try:
        from fpdf import FPDF
        from fpdf.fonts import TTFFont
    except ImportError:
        raise InputError(
            "for PDF the package fpdf2 is needed, and it is not installed; Report.text() needs none"
        ) from None
    import matplotlib

    class Sheet(FPDF):
        def footer(self) -> None:
            self.set_y(-14)
            self.set_font("sans", size=8)
            self.cell(0, 5, f"page {self.page_no()}", align="R")

    pdf = Sheet(format="A4")
    pdf.alias_nb_pages("")  # else it would replace {nb} in the listener's words
    pdf.set_creation_date(report.end_utc)
    pdf.set_title(report.title.capitalize())
    pdf.set_lang("en")
    pdf.set_margins(_MARGIN_MM, _MARGIN_MM, _MARGIN_MM)
    pdf.set_auto_page_break(True, _MARGIN_MM)
    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    try:
        pdf.add_font("sans", "", fonts / "DejaVuSans.ttf")
        pdf.add_font("sans", "B", fonts / "DejaVuSans-Bold.ttf")
        faces = [face for face in pdf.fonts.values() if isinstance(face, TTFFont)]
        lacking = sorted({c for c in report.text() if c != "\n" and ord(c) not in faces[0].cmap})
        if lacking:
            named = ", ".join(f"{c!r} (U+{ord(c):04X})" for c in lacking[:5])
            raise InputError(
                f"the report has {named}, which the PDF's font lacks; write it in other letters, "
                "or send Report.text()"
            )
        _fill(pdf, report)
        return bytes(pdf.output())
    finally:
        for face in pdf.fonts.values():
            if isinstance(face, TTFFont):
                face.ttfont.close()


def _fill(pdf: FPDF, report: Report) -> None:
    """Write the report on pages."""

    def put_text(text: str, style: str = "", size: float = 10.0, indent_mm: float = 0.0) -> None:
        pdf.set_font("sans", style, size)
        pdf.set_x(_MARGIN_MM + indent_mm)
        pdf.multi_cell(0, 0.54 * size, text, align="L", new_x="LMARGIN", new_y="NEXT")

    pdf.add_page()
    put_text(report.title, "B", 16)
    pdf.ln(1.5)
    pdf.line(_MARGIN_MM + pdf.c_margin, pdf.get_y(), pdf.w - _MARGIN_MM, pdf.get_y())
    pdf.ln(3)
    if report.doubt:
        put_text(report.doubt, "B")
        pdf.ln(2.5)
    for label, paragraphs in report.items():
        if pdf.will_page_break(3 * _LINE_MM):  # no label alone at the foot
            pdf.add_page()
        pdf.set_font("sans", "B", 10)
        pdf.cell(_LABEL_MM, _LINE_MM, label)
        for paragraph in paragraphs:
            put_text(paragraph or " ", indent_mm=_LABEL_MM)
        pdf.ln(2)
    pdf.ln(2)
    put_text(report.request)
