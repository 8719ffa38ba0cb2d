"""Invented logs with a known truth, to try a method before a listener's evenings are spent on it.

Nothing here is about real reception: openings are drawn from normal distributions, broadcasters
are invented. What is drawn is what makes a log hard to read: openings seen only between two checks,
bands of one evening that move together, late starts, one band looked at less often than another,
ears that miss, indices and conditions that come back after 27 days, convenient hours.

All draws come from the generator given: the same seed gives the same log, byte for byte.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from farhear import evenings as by_evening
from farhear._arrays import Floats, as_float64, check_range
from farhear.band import BANDS, band_edges, band_of
from farhear.errors import InputError
from farhear.evenings import Nights, nights
from farhear.log import Log
from farhear.station import Station
from farhear.tables import Faults, near_name
from farhear.times import UtcTimes, iso_text, unix_s

__all__ = [
    "HOME",
    "PATTERNS",
    "Simulated",
    "from_likelihood",
    "kp_series",
    "season",
    "two_seasons",
]

HOME = Station(name="Invented home", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn")
"""Where the invented listener lives unless told otherwise."""
PATTERNS = ("steady", "late", "sparse", "window")
"""How an evening is spent, see :func:`season`."""
BROADCASTERS = ("Radio Belmorant", "Noverrin External")
"""Invented; bands take them in turn."""
SETUPS = ("long wire", "loop")
"""Names of the antenna before and after a change."""

_ROTATION = 27  # nights
_WIDTH_SD = 3.0  # rounds go on until so many standard deviations after the last mean opening
_OBSERVER = "listener 1"


class _Checks(NamedTuple):
    """Checks in order of time; `which` is the evening in `days`, `identity` and `setup` codes."""

    days: NDArray[np.datetime64]
    which: NDArray[np.int64]
    start_s: Floats
    end_s: Floats
    freq_khz: Floats
    outcome: NDArray[np.int64]
    identity: NDArray[np.int64]
    setup: NDArray[np.int64]


_OUTCOMES = np.array(["not_heard", "heard", "blocked"], dtype=object)


@dataclass(frozen=True, kw_only=True)
class Simulated:
    """A log and what is behind it.

    Attributes
    ----------
    frame
        The log: columns of :mod:`farhear.log`, one row a check, in order of time. As
        :func:`farhear.log.write_log` takes it and :func:`farhear.log.read_log` gives it back.
    table
        The same checks as :func:`farhear.evenings.table` gives them for `frame` and `station`,
        without the way through it; each of the two is made when it is first asked for.
    truth
        What was drawn; the columns are those of the function that drew.
    parameters
        What it was drawn with.
    station
        The home.
    """

    truth: pd.DataFrame
    parameters: Mapping[str, Any]
    station: Station
    _checks: _Checks = field(repr=False)
    _nights: Nights = field(repr=False)

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The log."""
        made = self._checks
        sessions = np.datetime_as_string(made.days, unit="D").astype(object)
        return pd.DataFrame(
            {
                "row": np.arange(made.which.size),
                "session_id": by_evening.words(sessions, made.which),
                "observer_id": by_evening.words(_one(_OBSERVER), np.zeros_like(made.which)),
                "start_utc": by_evening.stamps(made.start_s),
                "end_utc": by_evening.stamps(made.end_s),
                "freq_khz": made.freq_khz,
                "outcome": by_evening.words(_OUTCOMES, made.outcome),
                "identity": by_evening.words(self._identities, made.identity),
                "setup_id": by_evening.words(self._setups, made.setup),
            }
        )

    @property
    def log(self) -> Log:
        """The log as :func:`farhear.log.read_log` gives it back, nothing refused."""
        none = Faults().frame()
        return Log(
            frame=self.frame,
            rejects=none,
            warnings=none,
            rows_read=len(self.frame),
            source="invented",
        )

    @cached_property
    def table(self) -> pd.DataFrame:
        """The log by evenings."""
        made = self._checks
        setup = self._setups[made.setup]
        sessions = np.datetime_as_string(made.days, unit="D").astype(object)
        return by_evening.framed(
            made.days,
            made.which,
            self._nights.sunset_utc.unix_s,
            self._nights.sunrise_utc.unix_s,
            start_s=made.start_s,
            end_s=made.end_s,
            row=np.arange(made.which.size),
            freq_khz=made.freq_khz,
            outcome=_OUTCOMES[made.outcome],
            heard=np.array([0.0, 1.0, np.nan])[made.outcome],
            on_air=np.full(made.which.size, np.nan),
            texts={
                "identity": self._identities[made.identity],
                "observer_id": np.full(made.which.size, _OBSERVER, dtype=object),
                "session_id": sessions[made.which],
                "setup_id": by_evening.setups_of(setup, made.start_s, self.station),
            },
        )

    @property
    def _identities(self) -> NDArray[Any]:
        return np.array(self.parameters["identities"], dtype=object)

    @property
    def _setups(self) -> NDArray[Any]:
        return np.array(["", *SETUPS], dtype=object)


def _one(text: str) -> NDArray[Any]:
    return np.array([text], dtype=object)


# Series -----------------------------------------------------------------------------------------


def kp_series(rng: np.random.Generator, evenings: int, *, recurrent: bool = True) -> Floats:
    """Invented Kp of evenings that follow one another.

    Parameters
    ----------
    rng
        Source of all draws.
    evenings
        How many, 1 or more.
    recurrent
        Whether two thirds of the variance come back after 27 nights (a spot on the sun and its
        stream, common practice). Otherwise only neighbouring nights are alike.

    Returns
    -------
    Kp in thirds, 0 to 9: 2.3 +- 1.4 with a correlation of about 0.5 from night to night; the
    figures are common practice, no source.
    """
    _whole("evenings", evenings)
    return _kp(_series(rng, evenings, recurrent))


def _kp(z: Floats) -> Floats:
    return np.asarray(np.rint(np.clip(2.3 + 1.4 * z, 0.0, 9.0) * 3.0) / 3.0, dtype=np.float64)


def _series(rng: np.random.Generator, count: int, recurrent: bool) -> Floats:
    """Standard normal numbers, alike from night to night and, if wanted, after 27 nights."""
    kept = 0.5
    noise = rng.standard_normal(count)
    noise[1:] *= np.sqrt(1.0 - kept**2)
    out = np.empty(count)
    last = 0.0
    for at, step in enumerate(noise.tolist()):
        out[at] = last = kept * last + step
    if not recurrent:
        return out
    raw = rng.standard_normal(_ROTATION)
    pattern = raw + 0.6 * np.roll(raw, 1)
    pattern = (pattern - pattern.mean()) / pattern.std()
    return np.asarray(np.sqrt(2 / 3) * pattern[np.arange(count) % _ROTATION] + out / np.sqrt(3))


# A season of dusks ------------------------------------------------------------------------------


def season(
    rng: np.random.Generator,
    *,
    bands: Sequence[str],
    evenings: int = 60,
    first: str | dt.date = "2025-11-01",
    station: Station = HOME,
    opening_min: float | Mapping[str, float] = 40.0,
    evening_sd_min: float = 25.0,
    band_sd_min: float = 15.0,
    drift_min_per_week: float | Mapping[str, float] = 0.0,
    open_share: float | Mapping[str, float] = 1.0,
    noticing: float | Mapping[str, float] = 1.0,
    blocked_share: float = 0.0,
    pattern: str = "steady",
    order: str = "alternated",
    every_min: float = 15.0,
    gap_min: float = 5.0,
    check_min: float = 4.0,
    begin_min: float = 60.0,
    checks: int = 3,
    kp: str | ArrayLike | None = None,
    kp_effect_log_odds: float | Mapping[str, float] = 0.0,
    recurrent_log_odds: float = 0.0,
    setup_change: tuple[str | dt.date, float] | None = None,
    interleaved_log_odds: float | None = None,
    identity: Mapping[str, str] | None = None,
    night: Nights | None = None,
) -> Simulated:
    """Evenings after dusk on which bands open.

    On an evening a band opens at `opening_min` + drift + a normal number of the evening, the same
    for all bands + a normal number of its own; and stays open. A check hears it with the chance
    `noticing` when it opened before the end of the check.

    Parameters
    ----------
    rng
        Source of all draws.
    bands
        Names such as "31 m"; each is one channel in the middle of its band.
    evenings, first
        Number of evenings in a row, 1 to 2000, and the local date of the first.
    station
        The home.
    opening_min
        Mean opening; one number or one for each band, like all that take a mapping.
        [min after sunset]
    evening_sd_min, band_sd_min
        Standard deviations of the two normal numbers; with the defaults, 15 for `band_sd_min` among
        them, about 49, 28 and 23 % of the evenings of the first three patterns decide which of
        two equal bands opened first, as measured for this project. [min]
    drift_min_per_week
        Change of the mean opening. [min/week]
    open_share
        Share of evenings, (0, 1], on which the band opens at all.
    noticing
        Chance, (0, 1], to notice an open channel in one check.
    blocked_share
        Share of checks, [0, 1), in which something else is on the channel.
    pattern
        "steady": rounds every `every_min`, the first one well before the earliest opening;
        "late": the first one begins at sunset + 0 to 60 min, each as likely; "sparse": as steady,
        but bands other than the first are checked in every third or fourth round only (one of the
        two on an evening); "window": `checks` rounds from `begin_min` on, in which a band is open
        all the time or not at all (`opening_min` has no effect).
    order
        Order of the bands in a round: "fixed", as given, or "alternated": one place further each
        evening (with two bands: swapped).
    every_min, gap_min, check_min
        From round to round, from band to band within a round, length of a check. [min]
    begin_min, checks
        Start [min after sunset] and number of rounds of the pattern "window".
    kp
        None; "27-day recurrent" or "no recurrence" for :func:`kp_series`; or one Kp an evening.
    kp_effect_log_odds
        Change of the log-odds that a band opens at all, for one standard deviation of `kp` (of
        this series); needs an `open_share` below 1.
    recurrent_log_odds
        The same for a 27-day series of the bands' own that has nothing to do with `kp`.
    setup_change
        Local date of the first evening with another antenna, and the change of the log-odds of
        noticing; other than 0 it needs `noticing` below 1.
    interleaved_log_odds
        Each check is made twice in a row, once with each antenna in an order drawn afresh; this is
        the gain in log-odds of noticing of the second antenna. Not with `setup_change`.
    identity
        Band -> broadcaster; otherwise the two invented ones in turn.
    night
        From :func:`farhear.evenings.nights` for these evenings and this home; otherwise worked out
        (and remembered).

    Returns
    -------
    Simulated
        `truth` has one row for each evening and band: evening, band, opens, opening_min (+inf where
        it does not open, -inf where it is open throughout "window") [min after sunset], kp.

    Raises
    ------
    InputError
        On values out of range, unknown words, rounds too short for their checks, effects that
        cannot be, evenings without a sunset.
    """
    _known("pattern", pattern, PATTERNS)
    _known("order", order, ("fixed", "alternated"))
    names, count = _checked_bands(bands), len(bands)
    _whole("evenings", evenings, 2000)
    mean, drift, share, notice, kp_effect = (
        _each(name, value, names, *span)
        for name, value, span in (
            ("opening_min", opening_min, (-600.0, 600.0)),
            ("drift_min_per_week", drift_min_per_week, (-60.0, 60.0)),
            ("open_share", open_share, (1e-6, 1.0)),
            ("noticing", noticing, (1e-6, 1.0)),
            ("kp_effect_log_odds", kp_effect_log_odds, (-10.0, 10.0)),
        )
    )
    for name, value, low, high in (
        ("evening_sd_min", evening_sd_min, 0.0, 240.0),
        ("band_sd_min", band_sd_min, 0.0, 240.0),
        ("blocked_share", blocked_share, 0.0, 0.99),
        ("every_min", every_min, 1.0, 240.0),
        ("gap_min", gap_min, 0.0, 120.0),
        ("check_min", check_min, 0.1, 120.0),
        ("begin_min", begin_min, -240.0, 480.0),
    ):
        check_range(name, as_float64(name, value), low, high)
    twice = interleaved_log_odds is not None
    _check_round(count, twice, every_min, gap_min, check_min)
    _check_effects(share, notice, kp_effect, kp, recurrent_log_odds, setup_change, twice)
    days = _days(first, evenings)
    if night is None:
        night = _nights(str(days[0]), evenings, station)
    set_s = night.sunset_utc.unix_s
    if set_s.shape != (evenings,):
        raise InputError(f"night has {set_s.size} evenings, not {evenings}")
    if np.isnan(set_s).any():
        raise InputError(f"evening {days[np.isnan(set_s)][0]}: the sun does not set at home")
    # what happens
    own = rng.normal(0.0, band_sd_min, (evenings, count))
    shared = rng.normal(0.0, evening_sd_min, (evenings, 1))
    opening = mean + drift * (np.arange(evenings)[:, None] / 7.0) + shared + own
    index = _kp_of(rng, kp, evenings)
    with np.errstate(divide="ignore"):
        odds = np.log(share) - np.log1p(-share) + np.zeros((evenings, 1))
        seen = np.log(notice) - np.log1p(-notice)
    if kp is not None and kp_effect.any():
        odds = odds + kp_effect * ((index - index.mean()) / index.std())[:, None]
    if recurrent_log_odds:
        odds = odds + recurrent_log_odds * _series(rng, evenings, True)[:, None]
    opens = rng.random((evenings, count)) < _chance(odds)
    if pattern == "window":
        opening[:] = -np.inf
    opening[~opens] = np.inf
    # what is listened to: evening, round, band, antenna
    if pattern == "window":
        _whole("checks", checks, 100)
        begin, rounds = np.full(evenings, begin_min), checks
    else:
        means = np.concatenate([mean, mean + drift * (evenings / 7.0)])
        spread_min = _WIDTH_SD * float(np.hypot(evening_sd_min, band_sd_min))
        span = float(means.min()) - spread_min, float(means.max()) + spread_min
        begin, rounds = _rounds(rng, pattern, span, every_min, evenings)
    place = np.tile(np.arange(count), (evenings, 1))
    if order == "alternated":
        place = (place - np.arange(evenings)[:, None]) % count
    shape = (evenings, rounds, count, 2 if twice else 1)
    at_min = begin[:, None, None] + every_min * np.arange(rounds)[:, None]
    at_min = np.broadcast_to((at_min + gap_min * place[:, None, :])[..., None], shape)
    setup = np.zeros(shape, dtype=np.int64)
    odds_of = np.broadcast_to(seen[:, None], shape).copy()
    if interleaved_log_odds is not None:
        setup[..., 0] = rng.integers(0, 2, shape[:3])
        setup[..., 1] = 1 - setup[..., 0]
        odds_of += interleaved_log_odds * setup
        setup += 1
    elif setup_change is not None:
        later = days >= _date("setup_change", setup_change[0])
        odds_of[later] += setup_change[1]
        setup[:] = 1 + later[:, None, None, None]
    start_s = np.rint(set_s[:, None, None, None] + 60.0 * at_min)
    start_s[..., 1:] += np.rint(60.0 * check_min)
    end_s = start_s + np.rint(60.0 * check_min)
    is_open = opening[:, None, :, None] <= (end_s - set_s[:, None, None, None]) / 60.0
    outcome = (is_open & (rng.random(shape) < _chance(odds_of))).astype(np.int64)
    if blocked_share:
        outcome[rng.random(shape) < blocked_share] = 2
    made = np.ones(shape, dtype=np.bool_)
    if pattern == "sparse":
        step = rng.integers(3, 5, evenings)
        made[:, :, 1:] = (np.arange(rounds) % step[:, None] == 0)[:, :, None, None]
    which, _, band, _ = np.nonzero(made)
    start_s, end_s = start_s[made], end_s[made]
    outcome, setup = outcome[made], setup[made]
    _check_evenings(days, which, start_s, end_s, station)
    by_time = np.lexsort((end_s, start_s))
    freq_khz = np.array([_channel_khz(name) for name in names])
    identities, who = _who(names, identity)
    return Simulated(
        truth=pd.DataFrame(
            {
                "evening": np.repeat(days.astype("datetime64[s]"), count),
                "band": names * evenings,
                "opens": opens.reshape(-1),
                "opening_min": opening.reshape(-1),
                "kp": np.repeat(index, count),
            }
        ),
        parameters={
            "bands": tuple(names),
            "evenings": evenings,
            "first": str(days[0]),
            "opening_min": dict(zip(names, mean.tolist(), strict=True)),
            "evening_sd_min": evening_sd_min,
            "band_sd_min": band_sd_min,
            "drift_min_per_week": dict(zip(names, drift.tolist(), strict=True)),
            "open_share": dict(zip(names, share.tolist(), strict=True)),
            "noticing": dict(zip(names, notice.tolist(), strict=True)),
            "blocked_share": blocked_share,
            "pattern": pattern,
            "order": order,
            "every_min": every_min,
            "gap_min": gap_min,
            "check_min": check_min,
            "kp": kp if kp is None or isinstance(kp, str) else "given",
            "kp_effect_log_odds": dict(zip(names, kp_effect.tolist(), strict=True)),
            "recurrent_log_odds": recurrent_log_odds,
            "setup_change": setup_change,
            "interleaved_log_odds": interleaved_log_odds,
            "identities": identities,
        },
        station=station,
        _checks=_Checks(
            days,
            which[by_time],
            start_s[by_time],
            end_s[by_time],
            freq_khz[band[by_time]],
            outcome[by_time],
            who[band[by_time]],
            setup[by_time],
        ),
        _nights=night,
    )


def _rounds(
    rng: np.random.Generator,
    pattern: str,
    span_min: tuple[float, float],
    every_min: float,
    evenings: int,
) -> tuple[Floats, int]:
    """Start of the first round of each evening [min after sunset], and the number of rounds."""
    if pattern == "late":
        begin, from_min = rng.uniform(0.0, 60.0, evenings), 0.0
    else:
        from_min = span_min[0] - every_min
        begin = from_min + rng.uniform(0.0, every_min, evenings)
    return begin, max(2, int(np.ceil((span_min[1] - from_min) / every_min)) + 1)


def _check_evenings(
    days: NDArray[np.datetime64],
    which: NDArray[np.int64],
    start_s: Floats,
    end_s: Floats,
    station: Station,
) -> None:
    """Refuse checks that would count to the evening before or after."""
    own = by_evening.evening_of(UtcTimes((start_s + end_s) / 2.0), station.time_zone)
    for at in np.flatnonzero(own != days[which])[:1]:
        raise InputError(
            f"evening {days[which[at]]}: a check at {iso_text(float(start_s[at]))} is before noon "
            "of that day or after the next noon; listen less far from sunset"
        )


def _check_round(
    count: int, twice: bool, every_min: float, gap_min: float, check_min: float
) -> None:
    long_min = check_min * (2 if twice else 1)
    what = "two checks" if twice else "a check"
    if count > 1 and gap_min < long_min:
        raise InputError(f"gap_min = {gap_min:g} is shorter than {what} of {check_min:g} min")
    needed = gap_min * (count - 1) + long_min
    if every_min < needed:
        raise InputError(
            f"every_min = {every_min:g} is too short: a round of {count} bands takes {needed:g} min"
        )


def _check_effects(
    share: Floats,
    notice: Floats,
    kp_effect: Floats,
    kp: object,
    recurrent_log_odds: float,
    setup_change: tuple[str | dt.date, float] | None,
    twice: bool,
) -> None:
    if kp_effect.any() and kp is None:
        raise InputError("kp_effect_log_odds is given without kp")
    moved = (kp_effect != 0.0) | (recurrent_log_odds != 0.0)
    if (moved & (share == 1.0)).any():
        raise InputError("open_share = 1 has no odds that an effect could change; take less")
    if twice and setup_change is not None:
        raise InputError("setup_change and interleaved_log_odds are both given; choose one")
    if (twice or (setup_change is not None and setup_change[1])) and (notice == 1.0).any():
        raise InputError("noticing = 1 has no odds that another antenna could change; take less")


def _kp_of(rng: np.random.Generator, kp: str | ArrayLike | None, evenings: int) -> Floats:
    if kp is None:
        return np.full(evenings, np.nan)
    if isinstance(kp, str):
        _known("kp", kp, ("27-day recurrent", "no recurrence"))
        return kp_series(rng, evenings, recurrent=kp == "27-day recurrent")
    given = as_float64("kp", kp)
    if given.shape != (evenings,):
        raise InputError(f"kp has the shape {given.shape}, not ({evenings},)")
    check_range("kp", given, 0.0, 9.0)
    if np.isnan(given).any() or given.std() == 0.0:
        raise InputError("kp is missing on an evening, or the same on all")
    return given


# Two seasons at convenient hours ----------------------------------------------------------------


def two_seasons(
    rng: np.random.Generator,
    *,
    band: str = "31 m",
    evenings: int = 60,
    checks: int = 6,
    winter: str | dt.date = "2025-11-17",
    summer: str | dt.date = "2026-05-18",
    station: Station = HOME,
    winter_hours: tuple[float, float] = (1.5, 1.0),
    summer_hours: tuple[float, float] = (-0.5, 1.0),
    season_log_odds: float = 0.0,
    hour_log_odds: float = 0.8,
    base_log_odds: float = -0.4,
    evening_sd_log_odds: float = 0.0,
    check_min: float = 4.0,
    setup_change: str | dt.date | None = None,
) -> Simulated:
    """Log of one channel in winter and in summer, listened to at different hours.

    The log-odds to hear it are `base_log_odds` at sunset, rise by `hour_log_odds` for each hour
    after it, by `season_log_odds` in winter, and differ from evening to evening.

    Parameters
    ----------
    rng
        Source of all draws.
    band
        Name of the band.
    evenings, checks
        Evenings in each season, and checks on each.
    winter, summer
        Local dates of the first evenings; the two spans must not overlap.
    station
        The home.
    winter_hours, summer_hours
        Mean and standard deviation of the hour at which a check begins; draws beyond -3 and 4 are
        set there. [h after sunset]
    season_log_odds
        Advantage of winter at the same hour from sunset.
    hour_log_odds
        [1/h]
    base_log_odds
        At sunset in summer.
    evening_sd_log_odds
        Standard deviation of a normal number that all checks of an evening share.
    check_min
        Length of a check. [min]
    setup_change
        Local date from which on another antenna is named in the log; it changes nothing.

    Returns
    -------
    Simulated
        `truth` has one row a check, in the order of the log: evening, winter (bool), hour (at the
        start, from sunset), chance (to hear it).

    Raises
    ------
    InputError
        On values out of range, seasons that overlap, evenings without a sunset.
    """
    _whole("evenings", evenings, 400)
    _whole("checks", checks, 100)
    check_range("check_min", as_float64("check_min", check_min), 0.1, 30.0)
    for name, (_, sd) in (("winter_hours", winter_hours), ("summer_hours", summer_hours)):
        check_range(f"{name}[1]", as_float64(name, sd), 0.0, 10.0)
    names = _checked_bands([band])
    parts = [_days(day, evenings) for day in (winter, summer)]
    is_winter = np.repeat([True, False], evenings)
    days = np.concatenate(parts)
    chrono = np.argsort(days, kind="stable")
    days, is_winter = days[chrono], is_winter[chrono]
    if (np.diff(days).astype(np.int64) < 1).any():
        raise InputError("the spans of winter and summer overlap")
    parted = [_nights(str(part[0]), evenings, station) for part in parts]
    night = Nights(
        *(
            UtcTimes(np.concatenate([times.unix_s for times in pair])[chrono])
            for pair in zip(*parted, strict=True)
        )
    )
    set_s = night.sunset_utc.unix_s
    if np.isnan(set_s).any():
        raise InputError(f"evening {days[np.isnan(set_s)][0]}: the sun does not set at home")
    mean_h = np.where(is_winter, winter_hours[0], summer_hours[0])[:, None]
    sd_h = np.where(is_winter, winter_hours[1], summer_hours[1])[:, None]
    hour = np.clip(mean_h + sd_h * rng.standard_normal((days.size, checks)), -3.0, 4.0)
    hour.sort(axis=1)
    shared = evening_sd_log_odds * rng.standard_normal((days.size, 1))
    odds = base_log_odds + hour_log_odds * hour + season_log_odds * is_winter[:, None] + shared
    chance = _chance(odds)
    heard = rng.random(chance.shape) < chance
    which = np.repeat(np.arange(days.size), checks)
    start_s = np.rint(set_s[:, None] + 3600.0 * hour).reshape(-1)
    _check_evenings(days, which, start_s, start_s + 60.0 * check_min, station)
    setup = np.zeros(which.size, dtype=np.int64)
    if setup_change is not None:
        setup = 1 + (days >= _date("setup_change", setup_change))[which]
    identities, who = _who(names, None)
    return Simulated(
        truth=pd.DataFrame(
            {
                "evening": days.astype("datetime64[s]")[which],
                "winter": is_winter[which],
                "hour": hour.reshape(-1),
                "chance": chance.reshape(-1),
            }
        ),
        parameters={
            "bands": tuple(names),
            "evenings": evenings,
            "checks": checks,
            "winter": str(parts[0][0]),
            "summer": str(parts[1][0]),
            "winter_hours": winter_hours,
            "summer_hours": summer_hours,
            "season_log_odds": season_log_odds,
            "hour_log_odds": hour_log_odds,
            "base_log_odds": base_log_odds,
            "evening_sd_log_odds": evening_sd_log_odds,
            "check_min": check_min,
            "setup_change": None if setup_change is None else str(setup_change),
            "identities": identities,
        },
        station=station,
        _checks=_Checks(
            days,
            which,
            start_s,
            start_s + np.rint(60.0 * check_min),
            np.full(which.size, _channel_khz(names[0])),
            heard.reshape(-1).astype(np.int64),
            who[np.zeros(which.size, dtype=np.int64)],
            setup,
        ),
        _nights=night,
    )


# From a likelihood ------------------------------------------------------------------------------


def from_likelihood(
    rng: np.random.Generator,
    likelihood: pd.DataFrame | ArrayLike,
    *,
    shift_log_odds: float = 0.0,
    slope: float = 1.0,
    dependence: float = 0.0,
    stamped_h: float = 6.0,
    checks: int = 4,
    first: str | dt.date = "2025-11-01",
    station: Station = HOME,
    check_min: float = 4.0,
) -> Simulated:
    """Log whose checks come out as a likelihood says, or as one that is off says.

    Parameters
    ----------
    rng
        Source of all draws.
    likelihood
        Chance to hear each check, (0, 1): an array, or a frame with `start_utc`, `freq_khz`,
        `likelihood` and, if wanted, `identity`, in order of time. The checks of an array follow
        one another every 15 min from 60 min after sunset on, in the middle of the 31 m band.
    shift_log_odds, slope
        True log-odds = `shift_log_odds` + `slope` * log-odds of the likelihood. With
        ``-log(0.7 / 0.3)`` and 1, what was called 70 % is 50 %.
    dependence
        Chance, [0, 1), that a check shares the luck of the one before it: the lag-1 correlation
        of the outcomes where all likelihoods are equal. The share heard does not change.
    stamped_h
        How long before its start each check was predicted; negative: after. [h]
    checks, first
        Checks on an evening and local date of the first evening, of an array.
    station
        The home.
    check_min
        Length of a check. [min]

    Returns
    -------
    Simulated
        `truth` has one row a check, in the order of the log: start_utc, end_utc, freq_khz,
        identity, likelihood (as predicted), chance (the true one), heard (1.0, 0.0), stamped_utc.

    Raises
    ------
    InputError
        On values out of range, rows that are not in order of time.
    """
    check_range("dependence", as_float64("dependence", dependence), 0.0, 0.999)
    check_range("check_min", as_float64("check_min", check_min), 0.1, 120.0)
    if isinstance(likelihood, pd.DataFrame):
        for name in ("start_utc", "freq_khz", "likelihood"):
            if name not in likelihood.columns:
                raise InputError(f"likelihood has no column {name!r}")
        p = as_float64("likelihood", likelihood["likelihood"].to_numpy())
        start_s = np.rint(np.asarray(unix_s(likelihood["start_utc"])))
        freq_khz = as_float64("freq_khz", likelihood["freq_khz"].to_numpy())
        named = (
            likelihood["identity"].astype(str).tolist()
            if "identity" in likelihood.columns
            else [BROADCASTERS[0]] * p.size
        )
    else:
        p = as_float64("likelihood", likelihood).reshape(-1)
        _whole("checks", checks, 40)
        count = -(-p.size // checks)
        _whole("number of likelihoods", p.size)
        set_s = _nights(str(_days(first, count)[0]), count, station).sunset_utc.unix_s
        at_s = 3600.0 + 900.0 * np.arange(checks)
        start_s = np.rint(set_s[:, None] + at_s).reshape(-1)[: p.size]
        freq_khz = np.full(p.size, _channel_khz("31 m"))
        named = [BROADCASTERS[0]] * p.size
    for at in np.flatnonzero(~((p > 0.0) & (p < 1.0)))[:1]:
        raise InputError(f"likelihood[{at}] = {p[at]:g} is outside (0, 1)")
    for at in np.flatnonzero(~(np.diff(start_s) >= 0.0))[:1]:
        raise InputError(f"likelihood[{at + 1}]: start_utc is missing or before that of the last")
    chance = _chance(shift_log_odds + slope * (np.log(p) - np.log1p(-p)))
    own = rng.random(p.size) >= dependence
    luck = rng.random(p.size)
    luck = luck[np.maximum.accumulate(np.where(own, np.arange(p.size), 0))]
    heard = luck < chance
    end_s = start_s + np.rint(60.0 * check_min)
    evening = by_evening.evening_of(UtcTimes((start_s + end_s) / 2.0), station.time_zone)
    days, which = np.unique(evening, return_inverse=True)
    who, identities = pd.factorize(np.array(named, dtype=object))
    return Simulated(
        truth=pd.DataFrame(
            {
                "start_utc": by_evening.stamps(start_s),
                "end_utc": by_evening.stamps(end_s),
                "freq_khz": freq_khz,
                "identity": named,
                "likelihood": p,
                "chance": chance,
                "heard": heard.astype(np.float64),
                "stamped_utc": by_evening.stamps(start_s - 3600.0 * stamped_h),
            }
        ),
        parameters={
            "shift_log_odds": shift_log_odds,
            "slope": slope,
            "dependence": dependence,
            "stamped_h": stamped_h,
            "check_min": check_min,
            "identities": tuple(identities),
        },
        station=station,
        _checks=_Checks(
            days,
            which.astype(np.int64),
            start_s,
            end_s,
            freq_khz,
            heard.astype(np.int64),
            who.astype(np.int64),
            np.zeros(p.size, dtype=np.int64),
        ),
        _nights=nights(days, station),
    )


# Arguments --------------------------------------------------------------------------------------


def _chance(log_odds: Floats) -> Floats:
    with np.errstate(over="ignore"):
        return np.asarray(1.0 / (1.0 + np.exp(-log_odds)), dtype=np.float64)


def _known(name: str, value: object, words: Sequence[str]) -> None:
    if value not in words:
        near = near_name(str(value), tuple(words))
        raise InputError(f"{name} = {value!r} is none of {', '.join(map(repr, words))}{near}")


def _whole(name: str, value: object, most: int = 100_000) -> None:
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)):
        raise InputError(f"{name} = {value!r} is not a whole number")
    if not 1 <= value <= most:
        raise InputError(f"{name} = {value} is outside [1, {most}]")


def _each(
    name: str, value: float | Mapping[str, float], bands: Sequence[str], low: float, high: float
) -> Floats:
    """One number for each band."""
    if isinstance(value, Mapping):
        missing = [band for band in bands if band not in value]
        extra = [band for band in value if band not in bands]
        if missing or extra:
            what = f"has no {missing[0]!r}" if missing else f"names {extra[0]!r}, not in bands"
            raise InputError(f"{name} {what}")
        given = as_float64(name, [value[band] for band in bands])
    else:
        given = np.full(len(bands), as_float64(name, value))
    if np.isnan(given).any():
        raise InputError(f"{name} is missing (NaN)")
    check_range(name, given, low, high)
    return given


def _checked_bands(bands: Sequence[str]) -> list[str]:
    if isinstance(bands, str) or not len(bands):
        raise InputError(f"bands = {bands!r} is not a list of band names")
    for name in bands:
        band_edges(name)
        _known("bands", name, [band.name for band in BANDS])
    if len(set(bands)) != len(bands):
        raise InputError("bands has a name twice")
    return list(bands)


@lru_cache(maxsize=32)
def _channel_khz(band: str) -> float:
    """Channel of the 5 kHz raster near the middle of a band."""
    low, high = band_edges(band)
    middle = round((low + high) / 10.0) * 5.0
    return middle if str(band_of(middle)) == band else low + 5.0


def _who(
    bands: Sequence[str], identity: Mapping[str, str] | None
) -> tuple[tuple[str, ...], NDArray[np.int64]]:
    """Names of broadcasters, and the place in them of each band's."""
    named = [BROADCASTERS[at % len(BROADCASTERS)] for at in range(len(bands))]
    if identity is not None:
        for band in identity:
            if band not in bands:
                raise InputError(f"identity names {band!r}, not in bands")
        named = [identity.get(band, own) for band, own in zip(bands, named, strict=True)]
    codes, names = pd.factorize(np.array(named, dtype=object))
    return tuple(names), codes.astype(np.int64)


def _date(name: str, value: str | dt.date) -> np.datetime64:
    try:
        text = value.isoformat() if isinstance(value, dt.date) else value
        return np.datetime64(dt.date.fromisoformat(text), "D")
    except (TypeError, ValueError):
        raise InputError(f"{name} = {value!r} is not a date such as 2025-11-01") from None


def _days(first: str | dt.date, count: int) -> NDArray[np.datetime64]:
    return np.asarray(_date("first", first) + np.arange(count))


@lru_cache(maxsize=64)
def _nights(first: str, count: int, station: Station) -> Nights:
    return nights(_days(first, count), station)
