"""What may be on a frequency: scheduled broadcasts, harmonics, images, and something else.

The model, our own and plain enough to check by hand: the posterior of a candidate is proportional
to its prior, times the likelihood that it is received as well as what was heard, times a factor for
the language. All broadcasts on the channel have the same prior.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from farhear.errors import InputError
from farhear.evening import LIMIT_WORDS, Air, driver, rung_snr_db
from farhear.times import UtcTimes
from farhear.times import utc as to_utc

if TYPE_CHECKING:
    import pandas as pd

    from farhear.indices import Indices
    from farhear.schedule import Schedule
    from farhear.station import Station

__all__ = ["HARMONIC_PRIOR", "KINDS", "LANGUAGE_FACTORS", "identify"]

KINDS = ("scheduled", "harmonic", "image", "something else")

LANGUAGE_FACTORS = {"same": 0.9, "unknown": 0.1, "other": 0.01}
"""Chance that a listener names this language while the broadcast's own is the same, not stated in
the schedule, or another. Own: one in ten names a wrong one, of some ten that come into question."""

HARMONIC_PRIOR = 0.1
"""Share of transmitters that radiate harmonics as strong as assumed here. Own, no source."""

_HARMONIC_DB = 50.0  # below the carrier; ITU Radio Regulations, Appendix 3, from memory
_HARMONIC_GAIN_SD_DB = 10.0  # an antenna off its design: isotropic, give or take
_IMAGE_DB = 40.0  # rejection by a simple receiver; common practice, no source
_CODE = re.compile(r"[a-z]{3}", re.ASCII)


def identify(
    station: Station,
    schedule: Schedule,
    utc: Any,
    freq_khz: float,
    *,
    language: str | None = None,
    rung: str = "language recognisable",
    drift_khz: float = 0.5,
    if_khz: float | None = None,
    other_weight: float = 0.05,
    indices: Indices | None = None,
    f107_sfu: float | None = None,
) -> pd.DataFrame:
    """Weigh what was heard on a frequency at an instant.

    Parameters
    ----------
    station
        The home.
    schedule
        Broadcasts; digital ones are no candidates (a note says where one is on the channel).
    utc
        One instant (see `farhear.utc`).
    freq_khz
        Frequency on the dial, 1600 to 30000. [kHz]
    language
        ISO 639-3 code of the language recognised; None: not recognised, it does not count.
    rung
        How well it was heard at least, a key of `farhear.listening.LADDER`.
    drift_khz
        How far dial and schedule may differ, 0 to 5. [kHz]
    if_khz
        Intermediate frequency of the receiver, 10 to 2000, for example 455: then images are
        candidates too, broadcasts twice this far above or below. [kHz]
    other_weight
        Prior of something that no schedule holds, against 1 for each broadcast, (0, 1]. Its
        likelihood is 1, its language counts as unknown.
    indices, f107_sfu
        As in `farhear.evening.plan`.

    Returns
    -------
    DataFrame, the most probable first: `kind` (`KINDS`), `relation` to the dial in words,
    `freq_khz` of the broadcast itself [kHz], `broadcaster`, `language`, `site`, `start_utc` and
    `stop_utc` (hhmm), `prior`, `likelihood`, `language_factor`, `posterior` (their product, scaled
    to the sum 1), `snr_db` [dB] and `limit` (as in a plan), `azimuth_deg` from home, `distance_km`,
    `parallels` and `row`, the line in the schedule's file (missing for something else). `parallels`
    is a tuple of (freq_khz, likelihood): where the broadcaster has the same language on the air
    elsewhere, likeliest first. `attrs["notes"]` holds sentences on what the figures rest on.

    Raises
    ------
    InputError
        On values out of range, more than one instant, a time without a zone, what is no language
        code.

    Notes
    -----
    Likelihoods take all broadcasts within 10 kHz of the dial that are on the air as interferers, so
    that the stronger of two on one channel is the likelier. Harmonics are the 2nd and 3rd, made
    in the transmitter, 50 dB below the carrier, from an antenna of 0 dBi, give or take 10 dB, with
    `HARMONIC_PRIOR`. Images are 40 dB down, with the prior of a broadcast, because every receiver
    of that kind has them; their interferers are taken as if they stood where the image stands.

    Examples
    --------
    >>> import farhear as fh
    >>> from importlib.resources import files
    >>> demo = files("farhear") / "data" / "demo"
    >>> home = fh.read_station(demo / "station.toml")
    >>> schedule = fh.read_schedule(demo / "schedule_b24.csv", days="iso", season="B24")
    >>> found = identify(home, schedule, "2024-11-27T17:00Z", 6195.0, language="eng")
    >>> [(name, round(p, 2)) for name, p in zip(found["broadcaster"], found["posterior"])]
    [('Noverrin External', 0.99), ('', 0.01)]
    """
    when = to_utc(utc)
    if when.size != 1 or np.isnan(when.unix_s).any():
        raise InputError(f"utc = {utc!r} is not one instant")
    when = UtcTimes(when.unix_s.reshape(()))
    _check("freq_khz", freq_khz, 1600.0, 30000.0, "kHz, not MHz")
    _check("drift_khz", drift_khz, 0.0, 5.0)
    _check("other_weight", other_weight, 0.0, 1.0)
    if other_weight == 0.0:
        raise InputError("other_weight = 0: a schedule never holds everything; give more than 0")
    if if_khz is not None:
        _check("if_khz", if_khz, 10.0, 2000.0, "kHz, not MHz")
    if language is not None and not (isinstance(language, str) and _CODE.fullmatch(language)):
        raise InputError(
            f"language = {language!r} is no ISO 639-3 code of three small letters, such as 'eng'"
        )
    wanted_db = rung_snr_db(rung, station.bandwidth_hz)
    flux = driver(when, f107_sfu, indices)
    air = Air.of(station, schedule, flux, wanted_db)
    analog = (schedule.frame["modulation"] != "DIGITAL").to_numpy(dtype=bool)
    on_air = schedule.on_air(when)
    lines = _candidates(air, when, float(freq_khz), drift_khz, if_khz, on_air & analog)
    for line in lines:
        line["language_factor"] = _language_factor(language, line["language"])
        line["parallels"] = _parallels(air, when, line.pop("position"), on_air & analog)
    lines.append(
        {
            "kind": "something else",
            "prior": float(other_weight),
            "likelihood": 1.0,
            "language_factor": _language_factor(language, ""),
            "parallels": (),
        }
    )
    out = _frame(lines)
    out.attrs["notes"] = [
        f"likelihood of '{rung}', {wanted_db:.1f} dB in {station.bandwidth_hz:g} Hz",
        f"solar flux {flux.text}",
        *_digital_notes(air, float(freq_khz), drift_khz, on_air & ~analog),
        *([schedule.note] if schedule.note else []),
    ]
    return out


def _check(name: str, value: Any, low: float, high: float, hint: str = "") -> None:
    number = isinstance(value, (int, float, np.integer, np.floating)) and value == value
    if not number or isinstance(value, bool):
        raise InputError(f"{name} = {value!r} is not a number")
    if not low <= value <= high:
        text = f"{name} = {value:g} is outside [{low:g}, {high:g}]"
        raise InputError(f"{text}; {hint}" if hint else text)


def _language_factor(heard: str | None, of: str) -> float:
    """Chance of the language named, given that of the broadcast; 1 when none was named."""
    if heard is None:
        return 1.0
    return LANGUAGE_FACTORS["unknown" if not of else "same" if of == heard else "other"]


def _candidates(
    air: Air,
    when: UtcTimes,
    dial_khz: float,
    drift_khz: float,
    if_khz: float | None,
    on_air: NDArray[np.bool_],
) -> list[dict[str, Any]]:
    """Lines of all broadcasts that can be on the dial, without language and parallels."""
    freq = air.freq_khz

    def rows(at_khz: float, factor: float = 1.0) -> list[int]:
        near = np.abs(freq * factor - at_khz) <= drift_khz + 1e-9
        return [int(i) for i in np.flatnonzero(near & on_air)]

    lines = []
    for i in rows(dial_khz):
        seen = air.circuit(i, when)
        lines.append(_line(air, i, "scheduled", "on the channel", 1.0, seen))
    for times in (2, 3):
        for i in rows(dial_khz, times):
            seen = _unwanted(air, i, when, _HARMONIC_DB, dial_khz, dial_khz)
            del seen["tx_pattern_dbi"]
            seen["tx_gain_sd_db"] = _HARMONIC_GAIN_SD_DB
            relation = f"{times} x {freq[i]:g} kHz"
            lines.append(_line(air, i, "harmonic", relation, HARMONIC_PRIOR, seen))
    for sign in (1.0, -1.0) if if_khz is not None else ():
        away_khz = sign * 2.0 * (if_khz or 0.0)
        for i in rows(dial_khz + away_khz):
            seen = _unwanted(air, i, when, _IMAGE_DB, dial_khz, float(freq[i]))
            relation = f"image of {freq[i]:g} kHz, {abs(away_khz):g} kHz "
            relation += "up" if sign > 0.0 else "down"
            lines.append(_line(air, i, "image", relation, 1.0, seen))
    return lines


def _unwanted(
    air: Air, position: int, when: UtcTimes, loss_db: float, dial_khz: float, freq_khz: float
) -> dict[str, Any]:
    """Arguments for a signal that is weaker by a loss and is heard at the dial's frequency.

    The broadcasts around the dial are its interferers, shifted to where the signal is worked out.
    """
    given = air.circuit(position, when)
    given["power_kw"] = max(given["power_kw"] * 10.0 ** (-loss_db / 10.0), 1e-9)
    given["freq_khz"] = freq_khz
    given["interferers"] = air.interferers(air.near(dial_khz), when, freq_khz - dial_khz)
    return given


def _line(
    air: Air, position: int, kind: str, relation: str, prior: float, given: dict[str, Any]
) -> dict[str, Any]:
    from farhear import reception

    seen = reception.likelihood(**given)
    row = air.schedule.frame.iloc[position]
    names = ("freq_khz", "broadcaster", "language", "site", "start_utc", "stop_utc", "row")
    return {
        "kind": kind,
        "relation": relation,
        **{name: row[name] for name in names},
        "prior": prior,
        "likelihood": float(seen["likelihood"]),
        "snr_db": float(seen["snr_db"]),
        "limit": LIMIT_WORDS[reception.LIMITS[int(seen["limit"])]],
        "azimuth_deg": float(air.geometry["home_bearing_deg"][position]),
        "distance_km": float(air.geometry["distance_km"][position]),
        "position": position,
    }


def _parallels(
    air: Air, when: UtcTimes, position: int, on_air: NDArray[np.bool_]
) -> tuple[tuple[float, float], ...]:
    """Other frequencies of the same broadcaster and language, with likelihood, likeliest first."""
    frame = air.schedule.frame
    same = np.array(on_air)
    for name in ("broadcaster", "language"):
        same &= frame[name].to_numpy() == frame[name].iloc[position]
    freq = air.freq_khz
    rows = np.flatnonzero(same & (freq != freq[position]))
    likelihood = air.receive(rows, np.full(rows.size, float(when.unix_s)))["likelihood"]
    best: dict[float, float] = {}
    for f, p in zip(freq[rows].tolist(), likelihood.tolist(), strict=True):
        best[f] = max(p, best.get(f, 0.0))
    return tuple(sorted(best.items(), key=lambda one: (-one[1], one[0])))


def _digital_notes(
    air: Air, dial_khz: float, drift_khz: float, digital: NDArray[np.bool_]
) -> list[str]:
    """Sentences on digital broadcasts on the channel."""
    near = np.abs(air.freq_khz - dial_khz) <= drift_khz + 1e-9
    return [
        f"{air.label(int(i))} is digital: an AM receiver hears noise, it is no candidate"
        for i in np.flatnonzero(near & digital)
    ]


def _frame(lines: list[dict[str, Any]]) -> pd.DataFrame:
    import pandas as pd

    texts = ("kind", "relation", "broadcaster", "language", "site", "start_utc", "stop_utc")
    numbers = ("prior", "likelihood", "language_factor", "posterior", "snr_db")
    columns = (
        *("kind", "relation", "freq_khz", "broadcaster", "language", "site", "start_utc"),
        *("stop_utc", *numbers, "limit", "azimuth_deg", "distance_km", "parallels", "row"),
    )
    weight = np.array([x["prior"] * x["likelihood"] * x["language_factor"] for x in lines])
    posterior = weight / weight.sum()
    order = np.argsort(-posterior, kind="stable")
    table: dict[str, Any] = {}
    for name in columns:
        values = (
            posterior[order]
            if name == "posterior"
            else [lines[i].get(name) for i in order.tolist()]
        )
        if name in (*texts, "limit"):
            table[name] = pd.Series([v or "" for v in values], dtype="str")
        elif name == "row":
            table[name] = pd.array([pd.NA if v is None else int(v) for v in values], dtype="Int64")
        elif name == "parallels":
            table[name] = pd.Series(values, dtype=object)
        else:
            table[name] = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
    return pd.DataFrame(table)
