"""Rules of thumb of the trade, put to a season study. A broken one is named, never hidden.

The rules are those of a mid-latitude home and speak of distant stations, so they look at
`far_likelihood` by night (sun more than 6 degrees below the horizon at home) and by day (sun up).
They are soft: a rule says what listeners found over the years, a study may have reasons to differ.
The numbers that turn words into a test ("good" = a mean of 0.5) are choices of ours.

References
----------
.. [1] "public encyclopedia": its remarks on the shortwave broadcast bands.
.. [2] "QST 1992": November issue, p. 80.
"common practice": no source.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from farhear import band as bands

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["BROKEN", "HOLDS", "NOT_APPLICABLE", "RULES", "Finding", "evaluate"]

HOLDS = "holds"
BROKEN = "broken"
NOT_APPLICABLE = "not applicable"

_GOOD = 0.5
_FAIR = 0.3
_ALMOST_NOTHING = 0.2
_SOME = 0.02  # a band whose likelihood never passes this is dead: nothing to compare
_FEW_DATES = 10
_DIFFERENT_SUN_DEG = 8.0


@dataclass(frozen=True, slots=True)
class Finding:
    """What became of one rule: its name, what it says, verdict, figures, source mark."""

    name: str
    says: str
    verdict: str
    detail: str
    source: str


_Verdict = tuple[str, str]
_Rule = Callable[["xr.Dataset"], _Verdict]


def evaluate(study: xr.Dataset) -> list[Finding]:
    """Put every rule to a study.

    Parameters
    ----------
    study
        From :func:`farhear.season.season_study`.

    Returns
    -------
    One :class:`Finding` per rule, in the order of `RULES`. All are "not applicable" for a home
    outside 30 to 60 degrees of latitude.
    """
    out = []
    for rule in RULES:
        says, _, source = (rule.__doc__ or "").partition(" [")
        if study.attrs["mid_latitude_home"]:
            verdict, detail = rule(study)
        else:
            verdict, detail = NOT_APPLICABLE, "the home is not at middle latitudes"
        name = rule.__name__.replace("_", " ")
        out.append(Finding(name, says, verdict, detail, source.rstrip("]. ")))
    return out


# Looking at a study -----------------------------------------------------------------------------


def _far(study: xr.Dataset, name: str) -> NDArray[np.float64] | None:
    """Likelihood of far circuits of a band, shape (date, hour); None without any."""
    names = [str(n) for n in study["band"].to_numpy()]
    if name not in names:
        return None
    values = study["far_likelihood"].to_numpy()[names.index(name)].astype(np.float64)
    return None if np.isnan(values).all() else values


def _mean(study: xr.Dataset, name: str, part: str, dates: NDArray[np.bool_] | None = None) -> float:
    """Mean over the day or the night at home; NaN without circuits or without such hours."""
    values = _far(study, name)
    if values is None:
        return float("nan")
    zenith_deg = study["sun_zenith_deg"].to_numpy()
    cells = zenith_deg < 90.833 if part == "day" else zenith_deg > 96.0
    if dates is not None:
        cells = cells & dates[:, None]
    return float(values[cells].mean()) if cells.any() else float("nan")


def _low_and_high_sun(study: xr.Dataset) -> tuple[NDArray[np.bool_], NDArray[np.bool_]] | None:
    """Thirds of the dates with the lowest and the highest sun, when these differ enough."""
    noon_deg = study["sun_zenith_deg"].to_numpy().min(axis=1)
    if noon_deg.size < 3 * _FEW_DATES:
        return None
    low_edge, high_edge = np.quantile(noon_deg, [1 / 3, 2 / 3])
    winter, summer = noon_deg >= high_edge, noon_deg <= low_edge
    if noon_deg[winter].mean() - noon_deg[summer].mean() < _DIFFERENT_SUN_DEG:
        return None
    return winter, summer


def _judge(tests: list[tuple[bool, str]]) -> _Verdict:
    """One verdict of many bands: broken when any is; the details of the broken ones come first."""
    if not tests:
        return NOT_APPLICABLE, "no circuit or no such hours in the study"
    broken = [text for good, text in tests if not good]
    if broken:
        return BROKEN, "; ".join(broken)
    return HOLDS, "; ".join(text for _, text in tests)


def _day_and_night(
    study: xr.Dataset, names: tuple[str, ...], test: Callable[[float, float], bool]
) -> _Verdict:
    tests = []
    for name in names:
        day, night = _mean(study, name, "day"), _mean(study, name, "night")
        if np.isnan(day) or np.isnan(night) or max(day, night) < _SOME:
            continue
        tests.append((test(day, night), f"{name}: day {day:.2f}, night {night:.2f}"))
    return _judge(tests)


def _minutes(study: xr.Dataset, name: str, key: str) -> NDArray[np.float64]:
    names = [str(n) for n in study["band"].to_numpy()]
    if name not in names:
        return np.empty(0)
    values = study[key].to_numpy()[names.index(name)]
    return np.asarray(values[~np.isnan(values)], dtype=np.float64)


def _mostly(study: xr.Dataset, name: str, key: str) -> float:
    """Median of a turn that happens on at least half of the dates, else NaN."""
    values = _minutes(study, name, key)
    return float(np.median(values)) if 2 * values.size >= study.sizes["date"] else float("nan")


_NIGHT_BANDS = ("120 m", "90 m", "75 m", "60 m")
_LOW_BANDS = (*_NIGHT_BANDS, "49 m", "41 m", "31 m")
_HIGH_BANDS = ("22 m", "19 m", "16 m", "15 m", "13 m", "11 m")


# The rules --------------------------------------------------------------------------------------


def tropical_bands_by_night(study: xr.Dataset) -> _Verdict:
    """120, 90, 75 and 60 m do better by night than by day [public encyclopedia]."""
    return _day_and_night(study, _NIGHT_BANDS, lambda day, night: night > day)


def the_49_m_band_by_night(study: xr.Dataset) -> _Verdict:
    """49 m is good by night all year and weaker by day at distance [public encyclopedia]."""
    return _day_and_night(study, ("49 m",), lambda day, night: night >= _GOOD and night > day)


def the_41_m_band_by_night(study: xr.Dataset) -> _Verdict:
    """41 m is fair by night [public encyclopedia]."""
    return _day_and_night(study, ("41 m",), lambda _, night: night >= _FAIR)


def the_31_m_band_by_night(study: xr.Dataset) -> _Verdict:
    """31 m is good by night in every month [public encyclopedia]."""
    months = study["date"].to_numpy().astype("datetime64[M]")
    tests = []
    for month in np.unique(months):
        night = _mean(study, "31 m", "night", months == month)
        if not np.isnan(night):
            tests.append((night >= _GOOD, f"{month}: night {night:.2f}"))
    return _judge(tests)


def the_31_m_band_by_day_in_winter(study: xr.Dataset) -> _Verdict:
    """31 m by day is best when the sun is low [public encyclopedia]."""
    return _sun_contrast(study, ("31 m",), "day", better_in="winter")


def the_25_m_band_at_sunset(study: xr.Dataset) -> _Verdict:
    """25 m is good around sunset all year [public encyclopedia]."""
    values = _far(study, "25 m")
    if values is None:
        return _judge([])
    hour = study["hour_utc"].to_numpy() + 0.5
    away_h = np.abs(hour[None, :] - study["sunset_hour_utc"].to_numpy()[:, None])
    cells = np.minimum(away_h, 24.0 - away_h) <= 1.5
    if not cells.any():
        return _judge([])
    mean = float(values[cells].mean())
    return _judge([(mean >= _GOOD, f"within 1.5 h of sunset {mean:.2f}")])


def the_22_and_19_m_bands_by_day(study: xr.Dataset) -> _Verdict:
    """22 and 19 m are bands of the day, 19 m good by day [public encyclopedia]."""
    return _judge_all(
        _day_and_night(study, ("22 m", "19 m"), lambda day, night: day > night),
        _day_and_night(study, ("19 m",), lambda day, _: day >= _GOOD),
    )


def the_16_m_band_by_day(study: xr.Dataset) -> _Verdict:
    """16 m is good by day [public encyclopedia]."""
    return _day_and_night(study, ("16 m",), lambda day, _: day >= _GOOD)


def the_16_m_band_by_night_in_summer(study: xr.Dataset) -> _Verdict:
    """16 m by night is best in summer [public encyclopedia]."""
    return _sun_contrast(study, ("16 m",), "night", better_in="summer")


def the_13_m_band_by_night(study: xr.Dataset) -> _Verdict:
    """13 m brings almost nothing by night [public encyclopedia]."""
    return _day_and_night(study, ("13 m",), lambda _, night: night <= _ALMOST_NOTHING)


def the_11_m_band_needs_the_sun(study: xr.Dataset) -> _Verdict:
    """11 m needs high solar activity: little by day below a flux of 100 sfu [common practice]."""
    flux = float(study["f107_sfu"].to_numpy().mean())
    if flux >= 100.0:
        return NOT_APPLICABLE, f"the flux is {flux:.0f} sfu"
    return _day_and_night(study, ("11 m",), lambda day, _: day <= _FAIR)


def low_bands_from_sunset_to_sunrise(study: xr.Dataset) -> _Verdict:
    """Low bands run from about sunset to about sunrise or longer, within an hour [QST 1992]."""
    tests = []
    for name in _LOW_BANDS:
        opens = _mostly(study, name, "dusk_opening_min")
        closes = _mostly(study, name, "dawn_closing_min")
        if not np.isnan(opens) and not np.isnan(closes):
            good = opens <= 60.0 and closes >= -60.0
            tests.append((good, f"{name}: opens {opens:+.0f} min, closes {closes:+.0f} min"))
    return _judge(tests)


def high_bands_from_sunrise_through_the_day(study: xr.Dataset) -> _Verdict:
    """Bands above 13 MHz do better by day than by night [QST 1992]."""
    return _day_and_night(study, _HIGH_BANDS, lambda day, night: day > night)


def low_bands_fade_in_order(study: xr.Dataset) -> _Verdict:
    """After sunrise the low bands fade out in order from low to high [common practice]."""
    closings = [
        (b.name, _mostly(study, b.name, "dawn_closing_min"))
        for b in bands.BANDS
        if b.name in _LOW_BANDS
    ]
    known = [(name, minutes) for name, minutes in closings if not np.isnan(minutes)]
    if len(known) < 2:
        return NOT_APPLICABLE, "fewer than two low bands close at dawn on most dates"
    tests = []
    for (low, first), (high, second) in itertools.pairwise(known):
        text = f"{low} at {first:+.0f} min, {high} at {second:+.0f} min of sunrise"
        tests.append((second >= first, text))
    return _judge(tests)


def high_bands_close_earlier_in_winter(study: xr.Dataset) -> _Verdict:
    """High bands close earlier in the day when the sun is low [common practice]."""
    parts = _low_and_high_sun(study)
    if parts is None:
        return NOT_APPLICABLE, "the sun stands too much alike on all dates"
    names = [str(n) for n in study["band"].to_numpy()]
    tests = []
    for name in _HIGH_BANDS:
        if name not in names:
            continue
        minutes = study["dusk_closing_min"].to_numpy()[names.index(name)]
        # hours after the local noon of the sun; the sunset itself moves with the season
        length_h = study["sunset_hour_utc"].to_numpy() - study["sunrise_hour_utc"].to_numpy()
        closing_h = length_h % 24.0 / 2.0 + minutes / 60.0
        winter, summer = (closing_h[part & ~np.isnan(closing_h)] for part in parts)
        if min(winter.size, summer.size) >= _FEW_DATES:
            early, late = float(np.median(winter)), float(np.median(summer))
            tests.append((early < late, f"{name}: {early:.1f} h and {late:.1f} h after noon"))
    return _judge(tests)


def more_sun_longer_openings(study: xr.Dataset) -> _Verdict:
    """More solar activity keeps the high bands open longer [common practice]."""
    flux = study["f107_sfu"].to_numpy()
    return NOT_APPLICABLE, (
        f"one study ({flux.min():.0f} to {flux.max():.0f} sfu) cannot part the flux from the "
        "season; compare two of the same half-year"
    )


def _judge_all(*verdicts: _Verdict) -> _Verdict:
    decided = [v for v in verdicts if v[0] != NOT_APPLICABLE]
    if not decided:
        return verdicts[0]
    broken = [v for v in decided if v[0] == BROKEN]
    return broken[0] if broken else decided[0]


def _sun_contrast(
    study: xr.Dataset, names: tuple[str, ...], part: str, *, better_in: str
) -> _Verdict:
    parts = _low_and_high_sun(study)
    if parts is None:
        return NOT_APPLICABLE, "the sun stands too much alike on all dates"
    tests = []
    for name in names:
        winter, summer = (_mean(study, name, part, dates) for dates in parts)
        if not np.isnan(winter) and not np.isnan(summer):
            good = winter >= summer if better_in == "winter" else summer >= winter
            text = f"{name} by {part}: low sun {winter:.2f}, high sun {summer:.2f}"
            tests.append((good, text))
    return _judge(tests)


RULES: tuple[_Rule, ...] = (
    tropical_bands_by_night,
    the_49_m_band_by_night,
    the_41_m_band_by_night,
    the_31_m_band_by_night,
    the_31_m_band_by_day_in_winter,
    the_25_m_band_at_sunset,
    the_22_and_19_m_bands_by_day,
    the_16_m_band_by_day,
    the_16_m_band_by_night_in_summer,
    the_13_m_band_by_night,
    the_11_m_band_needs_the_sun,
    low_bands_from_sunset_to_sunrise,
    high_bands_from_sunrise_through_the_day,
    low_bands_fade_in_order,
    high_bands_close_earlier_in_winter,
    more_sun_longer_openings,
)
"""All rules, in the order in which they are reported."""
