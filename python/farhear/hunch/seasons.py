"""Whether one season beats another at equal hours from sunset.

Hours are chosen by the listener, so a season may only have been listened to at better hours.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from farhear import skill
from farhear._arrays import Floats
from farhear.errors import InputError
from farhear.hunch._ground import (
    ALPHA,
    LEAST_WEEKS,
    STRATUM_MIN,
    Asked,
    Codes,
    band_rows,
    checked,
    number_in,
    obstacle,
    on_air,
    one_setup,
    p_text,
    per_row,
    setups_in,
    split,
    t_interval,
)
from farhear.verdicts import AGAINST, CANNOT_TELL, NOT_SHOWN, SUPPORTED, Assumption, Verdict

__all__ = ["season_difference", "winter_or_summer"]

_LEAST_CHECKS = 30  # of each season at hours that both have


def winter_or_summer(table: pd.DataFrame, *, southern: bool = False) -> NDArray[np.object_]:
    """Name the season of each row by its evening's month.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`.
    southern
        South of the equator the seasons change places.

    Returns
    -------
    "winter" for November to February, "summer" for May to August, None between; shape (rows,).
    """
    month = checked(table)["evening"].dt.month.to_numpy()
    names = ("summer", "winter") if southern else ("winter", "summer")
    out = np.full(month.size, None, dtype=object)
    out[np.isin(month, (11, 12, 1, 2))] = names[0]
    out[np.isin(month, (5, 6, 7, 8))] = names[1]
    return out


def _group_of(table: pd.DataFrame, group: Any, names: tuple[str, str]) -> Codes:
    """0 for the first name, 1 for the second, -1 for rows of neither."""
    values = per_row(table, "group", group)
    if len(names) != 2 or names[0] == names[1]:
        raise InputError(f"names = {names!r} are not two different names")
    out = np.full(values.size, -1, dtype=np.int64)
    missing = pd.isna(values)
    if all(isinstance(value, (bool, np.bool_)) for value in values[~missing].tolist()):
        out[~missing] = np.where(values[~missing].astype(bool), 0, 1)
        return out
    for code, name in enumerate(names):
        out[~missing & (values == name)] = code
    if not (out >= 0).any():
        have = ", ".join(repr(one) for one in sorted({str(v) for v in values[~missing]})[:6])
        raise InputError(f"group has neither {names[0]!r} nor {names[1]!r}; it has {have}")
    return out


def _log_odds_ratio(tables: Floats) -> float:
    """Mantel-Haenszel log odds ratio of tables (2, 2, strata); NaN where there is none."""
    from statsmodels.stats.contingency_tables import StratifiedTable

    with np.errstate(all="ignore"):
        tables = tables[:, :, tables.sum(axis=(0, 1)) > 0.0]
        if not tables.shape[2]:
            return float("nan")
        value = float(np.log(StratifiedTable(tables).oddsratio_pooled))
    return value if np.isfinite(value) else float("nan")


def _rate_difference(tables: Floats) -> float:
    """Common difference of rates of tables (2, 2, strata), each with both groups.

    Weights of Mantel and Haenszel (S. Greenland, J. M. Robins, Biometrics 41 (1985), p. 55, from
    memory).
    """
    checks = tables.sum(axis=1)
    rate = tables[:, 0] / checks
    weight = checks[0] * checks[1] / checks.sum(axis=0)
    return float(((rate[0] - rate[1]) * weight).sum() / weight.sum())


def season_difference(
    table: pd.DataFrame,
    group: str | ArrayLike,
    *,
    names: tuple[str, str] = ("winter", "summer"),
    band: str | None = None,
    useful_ratio: float = 2.0,
    asked_before: bool | None = None,
) -> Verdict:
    """H5: one season beats another, at equal hours from sunset.

    Checks are sorted into strata, a band and half an hour from sunset each; inside a stratum the
    odds (heard to not heard) of both seasons are compared, and the ratios brought together after
    Mantel and Haenszel. Interval and p: leaving out one week at a time (Student's t, weeks - 2
    degrees of freedom); the test of Cochran, Mantel and Haenszel, which takes every check as news,
    must agree. Strata of a whole hour left a ratio of 1.13 where there was none, those of half an
    hour 1.03, in 400 pairs of seasons drawn for this project.

    The word:

    - CANNOT TELL YET when no stratum is in both seasons; with fewer than 30 checks of either in
      strata that both have, or fewer than 4 weeks of either.
    - SUPPORTED (AGAINST) when the interval of the odds ratio lies above (below) 1 and the test of
      Cochran, Mantel and Haenszel has p < 0.05.
    - CANNOT TELL YET when the interval is wider than a factor of `useful_ratio` to either side.
    - NOT SHOWN otherwise.

    Parameters
    ----------
    table
        From :func:`farhear.evenings.table`, best with a schedule, so that silence off the air does
        not count.
    group
        Column name or values, one a row: True for the first of `names` and False for the second, or
        these names themselves, as from :func:`winter_or_summer`. Other values leave the row out.
    names
        The two seasons; the hunch is that the first beats the second.
    band
        Only this band.
    useful_ratio
        An odds ratio that would matter to you, above 1.
    asked_before
        Whether the question was written down before the data were looked at; None: not said.

    Returns
    -------
    Verdict
        `effect`: common odds ratio, first season to second. `details`: cmh_p, raw_ratio (without
        matching), raw_p (Fisher's exact test without matching, for contrast), points (the same as a
        difference of hearing rates, Mantel-Haenszel weights) [percentage points], equal_p (whether
        the ratio is the same in all strata, Breslow-Day), weeks (of each season), strata (frame:
        band, from_min after sunset, checks and heard of both seasons, shared).

    Raises
    ------
    InputError
        On a table, band or column that is not there, a group without the names, a `useful_ratio`
        of 1 or less.

    References
    ----------
    N. Mantel, W. Haenszel, J. Natl. Cancer Inst. 22 (1959), p. 719 (from memory); worked out by
    statsmodels.
    """
    useful_ratio = number_in("useful_ratio", useful_ratio, 1.0)
    table = checked(table)
    table = table.assign(_group=_group_of(table, group, names))
    rows = band_rows(table, band)
    a, b = names
    where = f" on {band}" if band else ""
    asked = Asked(
        "H5",
        f"{a.capitalize()} beats {b}{where} at equal hours from sunset.",
        asked_before,
        "weeks",
    )
    rows = rows[rows["_group"] >= 0]
    total = int(rows["week"].nunique())
    for code, name in enumerate(names):
        mine = rows[rows["_group"] == code]
        if not mine["heard"].notna().any():
            why = f"The log has no check of {name} that tells"
            if len(mine):
                why += f": all {len(mine)} were blocked, not checked or off the air"
            return asked.refused(f"{why}.", of=total)
    trouble = obstacle(rows)
    if trouble:
        return asked.refused(trouble, of=total)
    if len(setups_in(rows)) > 1:

        def alone(part: pd.DataFrame) -> Verdict:
            return season_difference(
                part,
                np.array(names, dtype=object)[part["_group"].to_numpy()],
                names=names,
                useful_ratio=useful_ratio,
                asked_before=asked_before,
            )

        return split(asked, rows, alone, total)
    useful = rows[rows["heard"].notna() & rows["middle_min"].notna()]
    if not len(useful):
        return asked.refused("No check has a sunset to be matched by.", of=total)
    counted = _Strata.of(useful)
    shared = (counted.cells.sum(axis=(1, 3)) > 0.0).all(axis=0)
    checks = counted.cells[:, :, shared].sum(axis=(1, 2, 3))
    weeks = [int((counted.cells[g][:, shared].sum(axis=(0, 1)) > 0.0).sum()) for g in (0, 1)]
    spans = [_hours(useful, code, name) for code, name in enumerate(names)]
    details: dict[str, Any] = {"strata": counted.frame(names, shared), "weeks": tuple(weeks)}
    if not shared.any():
        return asked.refused(
            f"No half hour from sunset is in both: {spans[0]}, {spans[1]}. What differs may be the "
            "hour, and the log cannot tell.",
            of=total,
            assumptions=[Assumption("both were listened to at the same hours", False)],
            details=details,
        )
    if checks.min() < _LEAST_CHECKS or min(weeks) < LEAST_WEEKS:
        return asked.refused(
            f"At the hours that both have there are {checks[0]:.0f} checks in {weeks[0]} weeks of "
            f"{a} and {checks[1]:.0f} in {weeks[1]} weeks of {b}; {_LEAST_CHECKS} checks and "
            f"{LEAST_WEEKS} weeks of each are the least that can tell ({spans[0]}, {spans[1]}).",
            of=total,
            decided=min(weeks),
            needed=2 * LEAST_WEEKS if min(weeks) < LEAST_WEEKS else None,
            details=details,
        )
    return _judged_season(asked, useful, counted, shared, names, useful_ratio, details)


class _Strata(NamedTuple):
    """Checks as cells (group, heard or not, stratum, week)."""

    cells: Floats
    band: NDArray[Any]
    from_min: Floats
    apart_min: float  # by which the first group is later inside the strata, on average

    @staticmethod
    def of(rows: pd.DataFrame) -> _Strata:
        minute = rows["middle_min"].to_numpy(np.float64)
        step = np.floor(minute / STRATUM_MIN).astype(np.int64)
        frame = pd.DataFrame({"band": rows["band"].to_numpy(), "step": step})
        known = frame.drop_duplicates().sort_values(["band", "step"])
        stratum = pd.MultiIndex.from_frame(known).get_indexer(pd.MultiIndex.from_frame(frame))
        week, weeks = skill.to_codes("week", rows["week"])
        cells = np.zeros((2, 2, len(known), weeks))
        silent = 1 - rows["heard"].to_numpy(np.float64).astype(np.int64)
        group = rows["_group"].to_numpy()
        np.add.at(cells, (group, silent, stratum, week), 1.0)
        checks = cells.sum(axis=(1, 3))
        minutes = np.zeros(checks.shape)
        np.add.at(minutes, (group, stratum), minute)
        with np.errstate(invalid="ignore"):
            mean = minutes / checks
        both = (checks > 0.0).all(axis=0)
        weight = checks[0, both] * checks[1, both] / checks[:, both].sum(axis=0)
        gap = (mean[0, both] - mean[1, both]) * weight
        apart = float(gap.sum() / weight.sum()) if both.any() else float("nan")
        begin = known["step"].to_numpy(np.float64) * STRATUM_MIN
        return _Strata(cells, known["band"].to_numpy(), begin, apart)

    def frame(self, names: tuple[str, str], shared: NDArray[np.bool_]) -> pd.DataFrame:
        whole = self.cells.sum(axis=3)
        columns: dict[str, Any] = {"band": self.band, "from_min": self.from_min}
        for code, name in enumerate(names):
            columns[f"{name}_checks"] = whole[code].sum(axis=0).astype(np.int64)
            columns[f"{name}_heard"] = whole[code, 0].astype(np.int64)
        return pd.DataFrame({**columns, "shared": shared})


def _hours(rows: pd.DataFrame, code: int, name: str) -> str:
    hour = rows["middle_min"].to_numpy(np.float64)[rows["_group"].to_numpy() == code] / 60.0
    return f"{name} from {hour.min():+.1f} to {hour.max():+.1f} h after sunset"


def _judged_season(
    asked: Asked,
    rows: pd.DataFrame,
    counted: _Strata,
    shared: NDArray[np.bool_],
    names: tuple[str, str],
    useful_ratio: float,
    details: dict[str, Any],
) -> Verdict:
    from scipy.stats import fisher_exact
    from statsmodels.stats.contingency_tables import StratifiedTable

    a, b = names
    cells = counted.cells[:, :, shared]
    cells = cells[..., cells.sum(axis=(0, 1, 2)) > 0.0]
    whole = cells.sum(axis=3)
    weeks = cells.shape[3]
    value = _log_odds_ratio(whole)
    if not np.isfinite(value):
        return asked.refused(
            f"At the hours that both have, one of {a} and {b} was heard always or never, the other "
            "too: their odds cannot be compared.",
            of=weeks,
            details=details,
        )
    without = np.array([_log_odds_ratio(whole - cells[..., week]) for week in range(weeks)])
    low, high, p = (float(x) for x in t_interval(value, without, lost=2)[1:])
    stratified = StratifiedTable(whole)
    cmh_p = float(stratified.test_null_odds(correction=False).pvalue)
    mixed = whole[:, :, (whole.sum(axis=0) > 0.0).all(axis=0)]
    equal_p = float("nan")
    if mixed.shape[2] > 1:
        with np.errstate(all="ignore"):
            equal_p = float(StratifiedTable(mixed).test_equal_odds().pvalue)
    by_band = np.stack(
        [
            counted.cells[:, :, counted.band == one].sum(axis=(2, 3))
            for one in np.unique(counted.band)
        ],
        axis=2,
    )
    raw = float(np.exp(_log_odds_ratio(by_band)))
    ratio, least, most = (float(np.exp(x)) for x in (value, low, high))
    details |= {
        "cmh_p": cmh_p,
        "raw_ratio": raw,
        "raw_p": float(fisher_exact(by_band.sum(axis=2)).pvalue),
        "points": 100.0 * _rate_difference(whole),
        "equal_p": equal_p,
    }
    fits = f"{ratio:.2g} times {b}'s ({least:.2g}-{most:.2g})"
    half = 0.5 * (high - low)
    needed = None
    matched = f"After matching for hour from sunset, {a} odds are {fits}."
    if cmh_p < ALPHA and (low > 0.0 or high < 0.0):
        word = SUPPORTED if value > 0.0 else AGAINST
        sentence = matched
        if word == AGAINST:
            sentence += " That is the opposite of the hunch."
    elif not half <= np.log(useful_ratio):
        word = CANNOT_TELL
        sentence = (
            f"{matched} That is too wide to say whether {a} beats {b} by a factor of "
            f"{useful_ratio:g} or not."
        )
        if np.isfinite(half):
            needed = int(np.ceil(weeks * (half / np.log(useful_ratio)) ** 2))
    else:
        word = NOT_SHOWN
        sentence = f"{matched} Your log does not show that either season is better."
    differs = not abs(np.log(raw) - value) <= np.log(1.1)
    if differs:
        minute = rows["middle_min"].to_numpy(np.float64)
        first = rows["_group"].to_numpy() == 0
        apart = float(minute[first].mean() - minute[~first].mean())
        sentence += f" Without matching the figure would have been {raw:.2g}"
        if abs(apart) >= 5.0:
            sentence += (
                f": your {a} listening was {'later' if apart > 0.0 else 'earlier'} in the evening"
            )
        sentence += "."
    outside = int(counted.cells[:, :, ~shared].sum())
    notes = [
        f"As a difference of hearing rates at equal hours: {details['points']:.0f} percentage "
        f"points. The test of Cochran, Mantel and Haenszel has {p_text(cmh_p)}.",
    ]
    if outside:
        notes.append(f"{outside} checks at hours that only one of the two has were left out.")
    return asked.verdict(
        word,
        sentence,
        effect=ratio,
        low=least,
        high=most,
        unit=f"times the odds, {a} to {b}",
        p_value=p,
        p_method="common odds ratio against 1, leaving out one week at a time, two-sided",
        evenings=weeks,
        decided=weeks,
        needed=needed,
        assumptions=(
            on_air(rows),
            one_setup(rows),
            _overlap(whole, counted, outside),
            Assumption(
                f"within half an hour both were listened to at the same minutes (means "
                f"{abs(counted.apart_min):.1f} min apart, at most 5)",
                abs(counted.apart_min) <= 5.0,
            ),
            Assumption(
                "the ratio is the same in all strata (Breslow-Day "
                + (f"{p_text(equal_p)})" if np.isfinite(equal_p) else "test not possible)"),
                bool(equal_p >= ALPHA) if np.isfinite(equal_p) else None,
            ),
            Assumption("weeks have nothing to do with each other", None),
            Assumption(f"one {a} and one {b} stand for all", None),
        ),
        notes=tuple(notes),
        details=details,
    )


def _overlap(whole: Floats, counted: _Strata, outside: int) -> Assumption:
    kept = int(whole.sum())
    return Assumption(
        f"both were listened to at the same hours ({kept} of {kept + outside} checks)",
        kept >= 0.5 * (kept + outside),
    )
