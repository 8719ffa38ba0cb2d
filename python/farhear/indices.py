"""Solar and geomagnetic indices: daily F10.7, Kp and ap as measured, and as predicted.

The driver of every map in farhear is the 12-month smoothed observed flux at 10.7 cm, because the
sunspot number changed its scale in 2015. A sunspot number is taken only with its series named.

Every value has a status: "observed", "interpolated" (a gap of the daily flux filled by the
provider) or "predicted". A prediction is not a datum: the published ones have been wrong by half.
"""

from __future__ import annotations

import datetime as dt
import gzip
import io
import os
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from farhear._arrays import Floats, as_float64, check_range, restore
from farhear._data import read_bytes
from farhear._files import put
from farhear._index_sources import (
    AP,
    CELESTRAK_CREDITS,
    COLUMNS,
    GFZ_URL,
    HOURS,
    KP,
    Parsed,
    download,
    parse_indices,
)
from farhear.errors import InputError
from farhear.tables import read_bytes_of
from farhear.times import unix_s

if TYPE_CHECKING:
    from farhear.charts.pictures import IndicesPictures

__all__ = [
    "CREDITS",
    "DRIVERS",
    "Indices",
    "SmoothedFlux",
    "load_indices",
    "r12",
    "read_indices",
    "update",
]

CREDITS = CELESTRAK_CREDITS
"""Whom to name with results that rest on the shipped indices."""
DRIVERS = ("12month", "81day", "27day", "daily")
"""Fluxes that may drive the maps, see `Indices.f107_sfu`. The maps were made for the first."""

_DAY_S = 86400.0
_FEWEST_DAYS = 20  # of a month with no prediction in it, for a mean; common practice, no source
_SHIPPED = {
    "observed": ("observed", "CelesTrak SW-All, measured"),
    "interpolated": ("interpolated", "CelesTrak SW-All, flux interpolated"),
    "predicted_daily": ("predicted", "CelesTrak SW-All, 45-day prediction"),
    "predicted_monthly": ("predicted", "CelesTrak SW-All, monthly prediction"),
}


class SmoothedFlux(NamedTuple):
    """Flux, smoothed or not, and what it rests on."""

    f107_sfu: Any
    status: Any


@dataclass(frozen=True, eq=False)
class Indices:
    """Daily indices, in order of date.

    Attributes
    ----------
    rejects
        Rows of the file that were refused: row (line of the file as an editor counts), column,
        value, reason. One line per fault; a row with any fault is not in `frame`.
    read_count, accepted_count
        Rows of the file, and rows in `frame`; their difference is the number of distinct rows in
        `rejects`.
    credits
        Whom to name with results that rest on this table.
    name
        Where the table came from.
    """

    _frame: pd.DataFrame
    rejects: pd.DataFrame
    read_count: int
    credits: tuple[str, ...]
    name: str

    @property
    def plot(self) -> IndicesPictures:
        """Charts: `strip(first, last)`."""
        from farhear.charts.pictures import IndicesPictures

        return IndicesPictures(self)

    @property
    def accepted_count(self) -> int:
        """Rows in `frame`."""
        return len(self._frame)

    @property
    def frame(self) -> pd.DataFrame:
        """A copy of the table, one row per date.

        Columns: date (datetime64, UT day; a monthly prediction stands on the first of its month),
        f107_obs_sfu and f107_adj_sfu [10^-22 W/m^2/Hz], kp_00 .. kp_21 (Kp of the 3 hours from
        that UT hour, exact thirds), ap_00 .. ap_21 and ap (daily mean) [2 nT], status, source.
        Status tells of the flux; Kp and ap are measured also where the flux is interpolated.
        """
        return self._frame.copy()

    @property
    def coverage(self) -> dict[str, str]:
        """First and last dates: of the table, of what is measured, and of Kp with predictions."""
        frame = self._frame
        if frame.empty:
            return {}
        measured = frame.loc[frame["status"] != "predicted", "date"]
        with_kp = frame.loc[frame[KP].notna().all(axis=1), "date"]

        def span(dates: pd.Series[Any]) -> str:
            if dates.empty:
                return "none"
            return f"{dates.iloc[0]:%Y-%m-%d} to {dates.iloc[-1]:%Y-%m-%d}"

        return {"all": span(frame["date"]), "measured": span(measured), "kp": span(with_kp)}

    def monthly(self) -> pd.DataFrame:
        """Monthly means of the observed flux with their 13-month smoothing.

        Returns
        -------
        DataFrame by month (PeriodIndex without gaps): f107_obs_sfu, observed (no prediction in it),
        f107_12month_sfu (half weights at both ends; NaN within six months of an end or beside a
        missing month), smoothed_observed (all 13 months are observed).

        A month without predictions needs 20 days to count, else it is missing. An interpolated day
        counts as a day. A month that is partly or wholly predicted is the mean of what it has.
        """
        frame = self._frame
        months = pd.PeriodIndex(frame["date"], freq="M")
        groups = frame.assign(predicted=frame["status"] == "predicted").groupby(months)
        mean = groups["f107_obs_sfu"].mean()
        count = groups["f107_obs_sfu"].count()
        predicted = groups["predicted"].any()
        mean[(count < _FEWEST_DAYS) & ~predicted] = np.nan
        if len(mean):
            whole = pd.period_range(mean.index[0], mean.index[-1], freq="M")
            mean, predicted = mean.reindex(whole), predicted.reindex(whole)
        observed = (mean.notna() & (predicted == False)).to_numpy(dtype=bool)  # noqa: E712
        value = mean.to_numpy(dtype=np.float64)
        smooth = np.full(value.size, np.nan)
        all_observed = np.zeros(value.size, dtype=bool)
        if value.size >= 13:
            weights = np.array([0.5] + [1.0] * 11 + [0.5]) / 12.0
            window = np.lib.stride_tricks.sliding_window_view(value, 13)
            smooth[6:-6] = window @ weights
            all_observed[6:-6] = np.lib.stride_tricks.sliding_window_view(observed, 13).all(axis=1)
        return pd.DataFrame(
            {
                "f107_obs_sfu": value,
                "observed": observed,
                "f107_12month_sfu": smooth,
                "smoothed_observed": all_observed,
            },
            index=mean.index,
        )

    def f107_12month_sfu(self, when: Any) -> SmoothedFlux:
        """12-month smoothed observed flux, the driver of the maps.

        The 13-month mean (half weights at both ends) belongs to the middle of its month; between
        the middles of two months it is interpolated linearly.

        Parameters
        ----------
        when
            Instants, whatever `farhear.utc` accepts.

        Returns
        -------
        SmoothedFlux
            f107_sfu [10^-22 W/m^2/Hz], of the shape of `when`, NaN for a missing time; status
            "observed" where every one of the months behind it is measured, else "predicted"
            (partly or wholly), "missing" for a missing time.

        Raises
        ------
        InputError
            Outside the smoothed table, or beside a missing month; the text names the coverage.

        References
        ----------
        .. [1] Weights of the 13-month mean: IEC 60050-705, 705-07-87 (twelve-month running mean).
        .. [2] Recommendation ITU-R P.371-8, choice of indices: Phi12.

        Examples
        --------
        >>> flux, status = load_indices().f107_12month_sfu("2024-06-16T00:00Z")
        >>> print(f"{flux:.1f} {status}")
        189.3 observed
        """
        t = unix_s(when)
        table = self.monthly()
        months = pd.PeriodIndex(table.index)
        middle = middle_unix_s(months)
        good = table["f107_12month_sfu"].notna().to_numpy()
        flat = t.reshape(-1)
        missing = np.isnan(flat)
        before = np.searchsorted(middle, flat, side="right") - 1
        last = max(middle.size - 2, 0)
        before = np.clip(np.where(missing, 0, before), 0, last)
        if middle.size < 2 or not good.any():
            raise InputError(f"{self.name} has no 13 months in a row; no smoothed flux")
        weight = (flat - middle[before]) / (middle[before + 1] - middle[before])
        smooth = table["f107_12month_sfu"].to_numpy()
        left, right = smooth[before], smooth[before + 1]
        exact_left, exact_right = weight == 0.0, weight == 1.0
        value = np.where(
            exact_left, left, np.where(exact_right, right, left + weight * (right - left))
        )
        bad = ~missing & (np.isnan(value) | (weight < 0.0) | (weight > 1.0))
        if bad.any():
            _, asked = _first_of(t, bad)
            first, final = (_date_text(float(s)) for s in (middle[good][0], middle[good][-1]))
            raise InputError(
                f"{asked}: no smoothed flux; {self.name} has it from {first} to "
                f"{final} (six months less than its daily values at both ends)"
            )
        known = table["smoothed_observed"].to_numpy()
        observed = (known[before] | exact_right) & (known[before + 1] | exact_left)
        status = np.where(missing, "missing", np.where(observed, "observed", "predicted"))
        value = np.where(missing, np.nan, value)
        return SmoothedFlux(restore(value, t.shape), restore(status, t.shape))

    def f107_sfu(self, when: Any, driver: str = "12month") -> SmoothedFlux:
        """Observed flux as one of the drivers of the maps.

        Parameters
        ----------
        when
            Instants, whatever `farhear.utc` accepts.
        driver
            "12month": `f107_12month_sfu`. "81day": mean of the 81 UT days about the day. "27day":
            mean of the 27 days that end with it, known when it is over. "daily": its own value;
            one above 1.5 times the median of the five days about it is taken for a radio burst in
            the measurement and gives way to that median [own]. The means keep every day.

        Returns
        -------
        SmoothedFlux
            As from `f107_12month_sfu`. "predicted" where any day of the window is.

        Raises
        ------
        InputError
            On another driver; where fewer than two thirds of the days of a window have a value; on
            the first of a month that is predicted only as a whole, which is no day's value.

        Notes
        -----
        In the shipped record the rule for bursts replaces 18 days to 2026-02-23. Bursts move
        "27day" by up to 31 sfu and "81day" by up to 10 (September 2005).

        Examples
        --------
        >>> print(f"{load_indices().f107_sfu('2024-06-16T00:00Z', '81day').f107_sfu:.1f}")
        190.9
        """
        if driver not in DRIVERS:
            raise InputError(f"driver = {driver!r} is none of {', '.join(DRIVERS)}")
        if driver == "12month":
            return self.f107_12month_sfu(when)
        t = unix_s(when)
        missing = np.isnan(t)
        day = (np.where(missing, 0.0, t) // _DAY_S).astype(np.int64)
        table = self._by_day
        row = table.index.get_indexer(pd.DatetimeIndex(day.reshape(-1).astype("datetime64[D]")))
        value, predicted = (
            np.append(table[name].to_numpy(np.float64), np.nan)[row].reshape(t.shape)
            for name in (driver, f"{driver}_predicted")
        )
        bad = ~missing & np.isnan(value)
        if bad.any():
            _, asked = _first_of(t, bad)
            raise InputError(
                f"{asked}: no {driver} flux; {self.name} has measured days "
                f"{self.coverage.get('measured', 'none')}"
            )
        status = np.where(missing, "missing", np.where(predicted > 0.0, "predicted", "observed"))
        value = np.where(missing, np.nan, value)
        return SmoothedFlux(
            restore(value.reshape(-1), t.shape), restore(status.reshape(-1), t.shape)
        )

    @cached_property
    def _by_day(self) -> pd.DataFrame:
        """Means over windows of days, one row a day without gaps; NaN where too few days."""
        daily = self._frame.set_index("date")
        daily = daily[~daily.index.duplicated()].asfreq("D")
        flux = daily["f107_obs_sfu"]
        predicted = (daily["status"] == "predicted").astype(np.float64)
        out = {}
        for name, days, centred in (("81day", 81, True), ("27day", 27, False), ("daily", 1, False)):
            windows = flux.rolling(days, center=centred, min_periods=-(-2 * days // 3))
            out[name] = windows.mean()
            any_of = predicted.rolling(days, center=centred, min_periods=1).max()
            out[f"{name}_predicted"] = any_of > 0.0
        usual = flux.rolling(5, center=True, min_periods=3).median()
        out["daily"] = out["daily"].where(~(flux > 1.5 * usual), usual)
        of_a_month = out["daily_predicted"] & usual.isna()  # stands on the first of its month
        out["daily"] = out["daily"].mask(of_a_month)
        return pd.DataFrame(out, index=daily.index)

    def kp_at(self, when: Any, *, allow_predicted: bool = False) -> Any:
        """Kp of the 3-hour UT interval that holds each instant.

        Parameters
        ----------
        when
            Instants, whatever `farhear.utc` accepts.
        allow_predicted
            Also answer from predictions (45 days at most).

        Returns
        -------
        Kp 0 .. 9 in exact thirds, of the shape of `when`; NaN for a missing time.

        Raises
        ------
        InputError
            Where there is no Kp, or only a predicted one; the text names the coverage.

        References
        ----------
        .. [1] Matzka et al. (2021), Space Weather 19, doi:10.1029/2020SW002641.

        Examples
        --------
        >>> print(f"{load_indices().kp_at('2024-05-11T01:30Z'):.2f}")
        9.00
        """
        t = unix_s(when)
        flat = t.reshape(-1)
        missing = np.isnan(flat)
        filled = np.where(missing, 0.0, flat)
        day = np.floor(filled / _DAY_S)
        interval = np.minimum((filled - day * _DAY_S) // 10800.0, 7.0).astype(np.intp)
        frame = self._frame
        dates = np.asarray(frame["date"].to_numpy(dtype="datetime64[D]").astype(np.int64))
        kp = np.asarray(frame[KP].to_numpy(dtype=np.float64)).reshape(-1, 8)
        if not dates.size:
            raise InputError(f"{self.name} has no rows")
        row = np.minimum(np.searchsorted(dates, day), dates.size - 1)
        value = np.where(dates[row] == day, kp[row, interval], np.nan)
        predicted = (frame["status"] == "predicted").to_numpy()[row]
        bad = ~missing & (np.isnan(value) | (predicted & (not allow_predicted)))
        if bad.any():
            i, asked = _first_of(t, bad, "%Y-%m-%dT%H:%MZ")
            only = np.isfinite(value[i])
            why = "Kp is only predicted (allow_predicted=True takes it)" if only else "no Kp"
            raise InputError(
                f"{asked}: {why}; {self.name} has measured days "
                f"{self.coverage['measured']} and Kp {self.coverage['kp']}"
            )
        return restore(np.where(missing, np.nan, value), t.shape)


def middle_unix_s(months: pd.PeriodIndex) -> Floats:
    """Middle of each month, to which its smoothed flux belongs. [s since 1970]"""
    starts = months.to_timestamp().as_unit("s").asi8.astype(np.float64)
    ends = (months + 1).to_timestamp().as_unit("s").asi8.astype(np.float64)
    return np.asarray((starts + ends) / 2.0)


def _date_text(t_unix_s: float, form: str = "%Y-%m-%d") -> str:
    return dt.datetime.fromtimestamp(t_unix_s, dt.UTC).strftime(form)


def _first_of(t: Floats, bad: NDArray[np.bool_], form: str = "%Y-%m-%d") -> tuple[int, str]:
    """Flat index of the first bad instant, and "when[3] = 2020-01-01"."""
    i = int(np.argmax(bad.reshape(-1)))
    where = f"[{i}]" if t.ndim else ""
    return i, f"when{where} = {_date_text(float(t.reshape(-1)[i]), form)}"


def _no_rejects() -> pd.DataFrame:
    return pd.DataFrame(columns=["row", "column", "value", "reason"])


@cache
def load_indices() -> Indices:
    """Return the shipped history: daily F10.7, Kp and ap from 1957-10-01, and predictions.

    Returns
    -------
    Indices
        Measured to 2026-02-23, predicted by day to 2026-04-09 and by month to 2041-10. Name the
        three sources in `credits` with results. The files are in the package: no network.

    Notes
    -----
    The flux is as the providers give it. On some 30 days a radio burst was in the measurement
    (938.6 on 2011-03-07, 707.6 on 2005-09-09); one such day moves the smoothed flux by 2 at most.

    Examples
    --------
    >>> load_indices().coverage["measured"]
    '1957-10-01 to 2026-02-23'
    """
    text = gzip.decompress(read_bytes("indices", "indices.csv.gz")).decode("ascii")
    raw = pd.read_csv(io.StringIO(text))
    frame = pd.DataFrame({"date": pd.to_datetime(raw["date"], format="%Y-%m-%d")})
    frame["date"] = frame["date"].astype("datetime64[ns]")
    frame["f107_obs_sfu"] = raw["f107_obs_sfu"].astype(np.float64)
    frame["f107_adj_sfu"] = raw["f107_adj_sfu"].astype(np.float64)
    for hour in HOURS:  # the file has tenths: 33 is 3 + 1/3
        frame[f"kp_{hour}"] = np.rint(raw[f"kp10_{hour}"].to_numpy(np.float64) * 0.3) / 3.0
    for name in (*AP, "ap"):
        frame[name] = raw[name].astype(np.float64)
    frame["status"] = raw["status"].map({key: pair[0] for key, pair in _SHIPPED.items()})
    frame["source"] = raw["status"].map({key: pair[1] for key, pair in _SHIPPED.items()})
    return Indices(frame[COLUMNS], _no_rejects(), len(frame), CREDITS, "the shipped indices")


def read_indices(path: str | Path) -> Indices:
    """Read a file of daily indices, UTF-8, one row per UT date, in one of three layouts.

    Parameters
    ----------
    path
        The content tells which layout it is:

        Own CSV. Needed columns: date (YYYY-MM-DD), f107_obs_sfu. Optional: f107_adj_sfu,
        kp_00 .. kp_21, ap_00 .. ap_21, ap, status (observed, interpolated, predicted; "observed"
        if absent), source. Empty means missing, but not for the date and the status.

        GFZ daily text [1]_: after comments (#) 28 columns, YYYY MM DD days days_m Bsr dB
        Kp1 .. Kp8 ap1 .. ap8 Ap SN F10.7obs F10.7adj D; -1 is missing. Every row is "observed".
        D = 0 makes its source "Kp preliminary", 1 and 2 make it "Kp definitive": the two differ
        only in the sunspot number, which is not taken. A row whose `days` are not those from
        1932-01-01 to its date is refused.

        CelesTrak CSV, header DATE,BSRN,ND,KP1 .. F10.7_DATA_TYPE ..; KP is ten times Kp rounded
        (33 is 3 + 1/3); a predicted one may lie between the thirds and goes to the nearest.
        F10.7_DATA_TYPE: OBS is observed, INT interpolated, PRD and PRM predicted by day and by
        month (on its first day, without Kp and ap). Of its columns DATE, KP1 .. KP8, AP1 .. AP8,
        AP_AVG, F10.7_OBS, F10.7_ADJ and F10.7_DATA_TYPE are needed, the others not read.

    Returns
    -------
    Indices
        Accepted rows in order of date in `frame`, refused ones with row, column, value and reason
        in `rejects`; accepted + refused = read. Of two rows with one date the later is refused.
        `credits` names the providers of the two public layouts. The file is not changed.

    Raises
    ------
    InputError
        When the file cannot be read, is not text or larger than 64 MiB, is in another layout, or
        a column is missing or unknown.

    References
    ----------
    .. [1] Matzka et al. (2021), Space Weather 19, doi:10.1029/2020SW002641; the layout is in the
       comments of the file.
    """
    path = Path(path)
    try:
        data = read_bytes_of(path)
    except InputError:
        raise
    except (OSError, ValueError) as cause:  # ValueError: a name that no file can have
        raise InputError(f"{path}: cannot be read ({cause})") from cause
    return _as_indices(parse_indices(data, str(path), path.name), path)


def _as_indices(parsed: Parsed, path: Path) -> Indices:
    return Indices(parsed.frame, parsed.rejects, parsed.read_count, parsed.credits, str(path))


def update(path: str | Path, *, url: str = GFZ_URL, timeout_s: float = 30.0) -> Indices:
    """Download a file of indices and put it in the place of an older one.

    The only function of farhear that uses the network, and only when it is called.

    Parameters
    ----------
    path
        Where the file is or shall be, as it came; its folder must exist. A file there that is in
        none of the layouts of `read_indices` and not empty is not overwritten.
    url
        http or https. The default is the daily text of GFZ, an address from memory that could not
        be tried where this was written.
    timeout_s
        Longest wait for an answer and between two pieces of it, 0 .. 3600; the whole transfer may
        last 20 times as long. [s]

    Returns
    -------
    Indices
        As `read_indices` gives for the new file.

    Raises
    ------
    InputError
        No connection, an answer other than 200, nothing for too long, more than 64 MiB, less than
        was announced, no table of indices, a last row that cannot be read, no day with a flux that
        is not predicted, or such days ending before those of the file at `path`. That file is then
        as it was, to the byte.
    OSError
        The disk did not take it. The same holds.
    """
    place = Path(path)
    try:
        place = Path(os.path.realpath(place))  # through a link to the file itself
        there = place.exists()
    except ValueError as cause:
        raise InputError(f"path = {str(path)!r} is no file name ({cause})") from cause
    kept = f"{path} is kept as it was" if there else f"nothing is written to {path}"
    try:
        if not place.parent.is_dir():
            raise InputError(f"there is no folder {place.parent}")
        before = None
        if there and (not place.is_file() or place.stat().st_size > 0):
            before = _last_measured(read_indices(place).frame)
        data = download(url, timeout_s)
        parsed = parse_indices(data, url, place.name)
        last = _last_measured(parsed.frame)
        if parsed.cut_off:
            row, column, value, reason = parsed.rejects.iloc[-1]
            raise InputError(
                f"{url}: cut off? Its last row ({row}) cannot be read: {column} {value!r} {reason}"
            )
        if last is None:
            raise InputError(f"{url}: not one day with a measured flux in {parsed.read_count} rows")
        if before is not None and last < before:
            raise InputError(
                f"{url}: older; its last measured day is {last:%Y-%m-%d}, here it is "
                f"{before:%Y-%m-%d}"
            )
    except InputError as cause:
        raise InputError(f"{cause}; {kept}") from cause
    try:
        put(place, data)
    except OSError as cause:
        raise OSError(cause.errno, f"{cause.strerror}; {kept}", str(path)) from cause
    return _as_indices(parsed, Path(path))


def _last_measured(frame: pd.DataFrame) -> pd.Timestamp | None:
    """Last day with a flux that is not predicted."""
    measured = frame["f107_obs_sfu"].notna() & (frame["status"] != "predicted")
    days = frame.loc[measured, "date"]
    return None if days.empty else pd.Timestamp(days.iloc[-1])


def r12(value: ArrayLike, series: str | None = None) -> Any:
    """12-month flux that stands for a smoothed sunspot number of a named series.

    Parameters
    ----------
    value
        12-month smoothed sunspot number R12, 0 .. 400. [1]
    series
        "v1": the classical series, which the maps and this conversion were made with; "v2": the
        series published since July 2015, multiplied by 0.7 first (factor from memory).

    Returns
    -------
    numpy scalar or ndarray: equivalent 12-month smoothed 10.7 cm flux. [10^-22 W/m^2/Hz] NaN gives
    NaN.

    Raises
    ------
    InputError
        Without a series: the same Sun has two sunspot numbers that differ by some 40 %.

    References
    ----------
    .. [1] Recommendation ITU-R P.371: Phi12 = 63.7 + 0.728 R12 + 8.9e-4 R12^2 (constants from
       memory; a second form in use has 63.75). It rests on data before 1972.

    Examples
    --------
    >>> print(f"{r12(100, series='v1'):.1f}")
    145.4
    """
    if series not in ("v1", "v2"):
        raise InputError(
            f"series = {series!r}: say 'v1' or 'v2'. The sunspot number was rescaled in July 2015 "
            "(version 2 is about 1/0.7 of version 1); the maps belong to version 1, and a number "
            "without its series may be wrong by 40 %. The measured flux has no such trouble."
        )
    given = as_float64("value", value)
    check_range("value", given, 0.0, 400.0)
    classical: Floats = given if series == "v1" else 0.7 * given
    flux: NDArray[np.float64] = np.asarray(63.7 + 0.728 * classical + 8.9e-4 * classical**2)
    return restore(flux.reshape(-1), given.shape)
