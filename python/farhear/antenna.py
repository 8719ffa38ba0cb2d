"""Gain of broadcasting transmitters' antennas towards a ray, from first principles.

Curtains of horizontal dipoles with a screen and slew, dipoles, crossed dipoles, a monopole, over
perfect or real ground; a log-periodic and "typical" antennas as stated proxies where less is known.
The core's header `farhear/antenna.hpp` says how.

For studies of reception only. The currents are taken as equal, the ground as flat, the structures
as ideal: nothing here serves to build an antenna or to judge exposure near one. For those, the
local codes and licensed practice rule.

How far to trust it (own judgement): a curtain with the right description within 2 dB on its main
lobe and 5 dB beside and behind it. Over perfect ground a horizontal antenna radiates nothing at
elevation 0; real antennas have neither such nulls nor such clean side lobes, so the tables fill
them in 25 dB below the peak (an assumption). `ElevationTable.sd_db` carries the uncertainty along.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from farhear import _core
from farhear._arrays import (
    Floats,
    as_float64,
    broadcast_shape,
    check_range,
    flatten,
    restore,
)
from farhear.errors import InputError

__all__ = [
    "ELEVATIONS_DEG",
    "ISOTROPIC",
    "NON_DIRECTIONAL",
    "Antenna",
    "ElevationTable",
    "Peak",
    "crossed",
    "curtain",
    "dipole",
    "elevation_table_dbi",
    "gain_dbi",
    "log_periodic",
    "monopole",
    "parse",
    "peak",
    "typical",
]

ELEVATIONS_DEG: Floats = (
    np.arange(_core.antenna.ELEVATIONS, dtype=np.float64) * _core.antenna.ELEVATION_STEP_DEG
)
ELEVATIONS_DEG.flags.writeable = False

_KINDS = {kind.name.lower(): kind for kind in _core.antenna.Kind}
_MHZ_M = 299.792458  # wavelength in metres times frequency in megahertz


@dataclass(frozen=True, slots=True, kw_only=True)
class Antenna:
    """Description of a transmitting antenna; `parse`, `curtain`, `dipole`... make one.

    Fields that a kind does not use are ignored.

    Parameters
    ----------
    kind
        "isotropic", "curtain", "crossed", "monopole", "log_periodic" or "typical".
    columns, rows
        Dipoles beside and above each other, 1 to 16.
    height_wl
        Lowest row above ground in wavelengths at the design frequency, 0.05 to 5.
    slew_deg
        Azimuth of maximum radiation less that of the array's normal, -60 to 60. [deg]
    design_khz
        Frequency at which the dipoles are half a wave long; None: the operating one. The operating
        frequency may be half to twice the design's. [kHz]
    front_back_db
        Front-to-back ratio of the screen at the design frequency, or of the lobe; 0: none. [dB]
    width_deg
        Half-power width of log-periodic and typical beams; 360 and no front-to-back ratio: all
        round. [deg]
    peak_dbi
        Of typical antennas. [dBi]
    high_angle_share
        Of a low dipole's elevation profile in that of typical antennas, 0 to 1.
    permittivity, conductivity_s_m
        Of the ground; an infinite conductivity is perfect ground. [1], [S/m]
    sd_db, sd_off_db
        Standard deviation of reality about the model on the beam, and what is to be added to it
        far off the beam (own judgement). [dB]
    """

    kind: str
    columns: int = 1
    rows: int = 1
    height_wl: float = 0.5
    slew_deg: float = 0.0
    design_khz: float | None = None
    front_back_db: float = 0.0
    width_deg: float = 360.0
    peak_dbi: float = 0.0
    high_angle_share: float = 0.0
    permittivity: float = 1.0
    conductivity_s_m: float = math.inf
    sd_db: float = 2.0
    sd_off_db: float = 3.0

    def __post_init__(self) -> None:
        if self.kind not in _KINDS:
            raise InputError(f"kind = {self.kind!r} is none of {', '.join(map(repr, _KINDS))}")
        for field in fields(self):
            value = getattr(self, field.name)
            if field.name != "kind" and value is not None and not _is_number(value):
                raise InputError(f"{field.name} = {value!r} is not a number")
        if not (self.sd_db >= 0.0 and self.sd_off_db >= 0.0):
            raise InputError(f"sd_db = {self.sd_db}, sd_off_db = {self.sd_off_db}: not below 0")
        # the core knows the ranges; at the design frequency, or any where there is none
        freq_khz = 1e4 if self.design_khz is None else self.design_khz
        peak(self, freq_khz)

    @property
    def directional(self) -> bool:
        """Whether the azimuth of maximum radiation means anything."""
        if self.kind == "typical":
            return self.front_back_db > 0.0
        return self.kind in ("curtain", "log_periodic")


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float, np.integer, np.floating)) and not math.isnan(value)


def _height_wl(height_wl: float | None, height_m: float | None, design_khz: float | None) -> float:
    if height_m is None:
        return 0.5 if height_wl is None else height_wl
    if height_wl is not None:
        raise InputError("give height_wl or height_m, not both")
    if design_khz is None:
        raise InputError("height_m needs design_khz, to be turned into wavelengths")
    return height_m * design_khz / (1e3 * _MHZ_M)


_PERFECT = (1.0, math.inf)


def curtain(
    columns: int,
    rows: int,
    height_wl: float | None = None,
    *,
    height_m: float | None = None,
    slew_deg: float = 0.0,
    design_khz: float | None = None,
    front_back_db: float = 20.0,
    ground: tuple[float, float] = _PERFECT,
) -> Antenna:
    """Array of horizontal half-wave dipoles, half a wave apart, before a screen.

    Parameters
    ----------
    columns, rows
        Dipoles per row, rows above each other.
    height_wl, height_m
        Lowest row above ground in design wavelengths (0.5 if neither is given), or in metres.
    slew_deg
        Azimuth of maximum less that of the normal. The phase of the columns is solved for, so that
        the pattern's maximum lies there. Two columns reach 30 degrees, three and four 45; beyond,
        another lobe is greater. [deg]
    design_khz
        None: the operating frequency. [kHz]
    front_back_db
        Of the screen; 20 dB is common practice, no source; 0 is no screen. [dB]
    ground
        Relative permittivity and conductivity [S/m], e.g. (15, 0.005) for average land or (80, 5)
        for the sea (common practice); by default perfect.

    Examples
    --------
    >>> round(float(peak(curtain(4, 4, 0.5), 9600.0).gain_dbi), 1)
    21.4
    """
    return Antenna(
        kind="curtain",
        columns=columns,
        rows=rows,
        height_wl=_height_wl(height_wl, height_m, design_khz),
        slew_deg=slew_deg,
        design_khz=design_khz,
        front_back_db=front_back_db,
        permittivity=ground[0],
        conductivity_s_m=ground[1],
    )


def dipole(
    height_wl: float | None = None,
    *,
    height_m: float | None = None,
    design_khz: float | None = None,
    ground: tuple[float, float] = _PERFECT,
) -> Antenna:
    """Horizontal half-wave dipole; its beam is broadside, and behind as well as before."""
    return curtain(
        1,
        1,
        height_wl,
        height_m=height_m,
        design_khz=design_khz,
        front_back_db=0.0,
        ground=ground,
    )


def crossed(
    height_wl: float = 0.3, rows: int = 1, *, ground: tuple[float, float] = _PERFECT
) -> Antenna:
    """Horizontal dipoles crossed and fed in quadrature: the mean over azimuth (it differs by 1 dB).

    Also for quadrant antennas, whose dipoles stand at right angles.
    """
    return Antenna(
        kind="crossed",
        rows=rows,
        height_wl=height_wl,
        permittivity=ground[0],
        conductivity_s_m=ground[1],
        sd_db=3.0,
        sd_off_db=0.0,
    )


def monopole(*, ground: tuple[float, float] = _PERFECT) -> Antenna:
    """Vertical quarter wave on the ground, with a good earth net."""
    return Antenna(
        kind="monopole",
        permittivity=ground[0],
        conductivity_s_m=ground[1],
        sd_db=3.0,
        sd_off_db=0.0,
    )


def log_periodic(
    width_deg: float = 60.0,
    *,
    height_wl: float = 0.75,
    front_back_db: float = 15.0,
    ground: tuple[float, float] = _PERFECT,
) -> Antenna:
    """Horizontal log-periodic, a proxy: a smooth lobe of that width, `height_wl` above ground.

    Width and front-to-back ratio stand for the tapered array; defaults are common practice, no
    source. The gain follows from the shape.
    """
    return Antenna(
        kind="log_periodic",
        width_deg=width_deg,
        height_wl=height_wl,
        front_back_db=front_back_db,
        sd_db=3.0,
        permittivity=ground[0],
        conductivity_s_m=ground[1],
    )


def _step(value: float, low: float, high: float) -> float:
    """0 below `low`, 1 above `high`, smooth in the logarithm between."""
    t = min(max(math.log(value / low) / math.log(high / low), 0.0), 1.0)
    return t * t * (3.0 - 2.0 * t)


def typical(freq_khz: float, power_kw: float = math.nan, *, azimuth_known: bool = True) -> Antenna:
    """What to assume of an antenna that nobody has described: a proxy of our own, no source.

    Broadcasters of 100 kW and more on the international bands mostly use curtains; those of 10 kW
    and less, and those on the tropical bands, mostly dipoles or small arrays not far above ground.
    Between 10 and 100 kW, and between 4 and 6.5 MHz, one passes smoothly into the other. Where the
    power is not known it is taken for 100 kW.

    =============  ==============================  =======================================
    .              strong, above 6.5 MHz           10 kW and less (tropical bands)
    =============  ==============================  =======================================
    azimuth known  17 dBi, 44 degrees wide,        12 (10) dBi, 60 degrees wide, 15 dB
                   22 dB front to back; sd 4.5,    front to back; sd 4.5, 6 dB off beam
                   6 dB off beam
    not known      5 dBi all round; sd 8 dB        5 dBi all round; sd 6 dB
    elevation      mean of five curtains, most at  half of that and half a dipole a quarter
                   10 degrees, half at 5 and 22    wave up (the dipole alone)
    =============  ==============================  =======================================

    The figures for strong ones were set against ten curtains of this module (1 to 4 columns and
    rows, 0.5 or 1 wavelength up) at elevations of 4 to 16 degrees. About the typical beam they
    scatter by 4.6 dB (rms) within 22 degrees of it, by 10 dB near 30 degrees, where wide arrays
    have a null, and by 3 to 5 dB beyond. Their gain is 9 dBi in the mean within 45 degrees of the
    beam, and 2 dBi with a scatter of 9 dB within 90: 5 dBi stands for a listener who may or may
    not be aimed at. Weak ones were not checked against anything.

    Parameters
    ----------
    freq_khz
        [kHz]
    power_kw
        NaN: not known. [kW]
    azimuth_known
        Whether there is an azimuth of maximum radiation.
    """
    weak = 0.0 if math.isnan(power_kw) else 1.0 - _step(max(power_kw, 1e-9), 10.0, 100.0)
    return _typical(weak, 1.0 - _step(freq_khz, 4000.0, 6500.0), azimuth_known)


@lru_cache(maxsize=4096)
def _typical(weak: float, tropical: float, azimuth_known: bool) -> Antenna:
    small = 1.0 - (1.0 - weak) * (1.0 - tropical)
    share = 1.0 - (1.0 - 0.5 * weak) * (1.0 - tropical)
    if not azimuth_known:
        return Antenna(
            kind="typical",
            peak_dbi=5.0,
            high_angle_share=share,
            sd_db=8.0 - 2.0 * small,
            sd_off_db=0.0,
        )
    return Antenna(
        kind="typical",
        peak_dbi=17.0 - 5.0 * small - 2.0 * tropical,
        width_deg=44.0 + 16.0 * small,
        front_back_db=22.0 - 7.0 * small,
        high_angle_share=share,
        sd_db=4.5,
        sd_off_db=1.5,
    )


_CURTAIN = re.compile(
    r"(?P<aperiodic>A?)H(?P<screen>R{0,2})(?P<slewed>S|\(S\))?"
    r"(?P<columns>\d+)/(?P<rows>\d+)/(?P<height>\d+\.?\d*|\.\d+)"
)
_WORDS = re.compile(r"(?P<word>[A-Z-]+)(?P<value>\d+\.?\d*|\.\d+)?")
_EXPECTED = (
    'expected a curtain like "HR 4/4/0.5" or "HRS 4/4/0.5" (dipoles per row, rows, height of the '
    'lowest row in wavelengths; without R no screen), "dipole 0.5", "crossed 0.3", "monopole", '
    '"log-periodic 60", "isotropic" or "non-directional"'
)


def parse(code: str, *, slew_deg: float = 0.0, design_khz: float | None = None) -> Antenna:
    """Read the notation of a schedule: "HR 4/4/0.5" as in Rec. ITU-R BS.705, or a plain word.

    H stands for horizontal dipoles, R for a reflecting screen (A before: aperiodic, RR: reversible;
    both count as a screen), S for slewed. Then dipoles per row, rows, height of the lowest row
    above ground in wavelengths. Case and spaces do not matter. (Notation from memory.)

    Parameters
    ----------
    code
        The text. Plain words with a number: dipole, crossed (height in wavelengths), log-periodic
        (beam width in degrees); without: monopole, isotropic, non-directional.
    slew_deg
        Slew, for curtains; other kinds have none. [deg]
    design_khz
        Design frequency of a curtain or dipole; None: the operating frequency. [kHz]

    Raises
    ------
    InputError
        If the code cannot be read, or a number is out of range.

    Examples
    --------
    >>> a = parse("hr 4/4/.5", slew_deg=15.0)
    >>> a.columns, a.rows, a.height_wl, a.slew_deg
    (4, 4, 0.5, 15.0)
    """
    text = re.sub(r"\s+", "", code).upper() if isinstance(code, str) else ""
    try:
        if found := _CURTAIN.fullmatch(text):
            if found["aperiodic"] and not found["screen"]:
                raise InputError(_EXPECTED)
            return curtain(
                int(found["columns"]),
                int(found["rows"]),
                float(found["height"]),
                slew_deg=slew_deg,
                design_khz=design_khz,
                front_back_db=20.0 if found["screen"] else 0.0,
            )
        if found := _WORDS.fullmatch(text):
            return _word(found["word"], found["value"], design_khz)
    except InputError as cause:
        raise InputError(f"antenna {code!r}: {cause}") from None
    raise InputError(f"antenna {code!r}: {_EXPECTED}")


def _word(word: str, number: str | None, design_khz: float | None) -> Antenna:
    value = None if number is None else float(number)
    if word == "DIPOLE":
        return dipole(value, design_khz=design_khz)
    if word == "CROSSED":
        return crossed() if value is None else crossed(value)
    if word == "LOG-PERIODIC":
        return log_periodic() if value is None else log_periodic(value)
    plain = {
        "MONOPOLE": monopole(),
        "ISOTROPIC": ISOTROPIC,
        "NON-DIRECTIONAL": NON_DIRECTIONAL,
        "OMNIDIRECTIONAL": NON_DIRECTIONAL,
    }
    if word in plain and value is None:
        return plain[word]
    raise InputError(_EXPECTED)


def _columns(antennas: Sequence[Antenna], freq_mhz: Floats) -> tuple[Any, list[Floats]]:
    """Turn descriptions into the columns of the core, one row for each frequency."""
    kinds = np.array([_KINDS[a.kind] for a in antennas], dtype=np.int64)
    table = np.array(
        [
            (
                a.columns,
                a.rows,
                a.height_wl,
                a.slew_deg,
                math.nan if a.design_khz is None else a.design_khz / 1e3,
                a.front_back_db,
                a.width_deg,
                a.peak_dbi,
                a.high_angle_share,
                a.permittivity,
                a.conductivity_s_m,
            )
            for a in antennas
        ],
        dtype=np.float64,
    ).reshape(-1, 11)
    table[:, 4] = np.where(np.isnan(table[:, 4]), freq_mhz, table[:, 4])
    return kinds, [np.ascontiguousarray(table[:, i]) for i in range(table.shape[1])]


def _one(antenna: Antenna | str) -> Antenna:
    return antenna if isinstance(antenna, Antenna) else parse(antenna)


def _frequency(freq_khz: ArrayLike) -> Floats:
    values = as_float64("freq_khz", freq_khz)
    check_range("freq_khz", values, 1600.0, 30000.0, "kHz, not MHz")
    return values


def _of_one(
    antenna: Antenna | str, arrays: dict[str, Floats]
) -> tuple[tuple[int, ...], Any, list[Floats], list[Floats]]:
    """Shape, kinds and columns of the core, flat arguments with the frequency first in MHz."""
    shape = broadcast_shape(**arrays)
    flat = flatten(shape, *arrays.values())
    flat[0] = flat[0] / 1e3
    kinds, columns = _columns([_one(antenna)], np.array([math.nan]))
    kinds, columns = np.repeat(kinds, flat[0].size), [np.repeat(c, flat[0].size) for c in columns]
    columns[4] = np.where(np.isnan(columns[4]), flat[0], columns[4])
    return shape, kinds, columns, flat


def gain_dbi(
    antenna: Antenna | str,
    freq_khz: ArrayLike,
    off_beam_deg: ArrayLike,
    elevation_deg: ArrayLike,
) -> Any:
    """Gain of one antenna towards rays, nulls and all. [dBi]

    Parameters
    ----------
    antenna
        A description, or a code for `parse`.
    freq_khz
        Operating frequency, 1600 to 30000. [kHz]
    off_beam_deg
        Azimuth of the ray less azimuth of maximum radiation (not of the array's normal), clockwise
        positive. [deg]
    elevation_deg
        0 to 90. [deg]

    Returns
    -------
    Gain, of the broadcast shape; at least -200 dBi; NaN in gives NaN out. [dBi]

    Raises
    ------
    InputError
        On values out of range, a frequency below half or above twice the design's.

    Examples
    --------
    >>> [round(float(g), 1) for g in gain_dbi("HR 4/4/0.5", 9600.0, [0.0, 12.0, 180.0], 9.5)]
    [21.4, 18.7, 1.4]
    """
    arrays = {
        "freq_khz": _frequency(freq_khz),
        "off_beam_deg": as_float64("off_beam_deg", off_beam_deg),
        "elevation_deg": as_float64("elevation_deg", elevation_deg),
    }
    check_range("elevation_deg", arrays["elevation_deg"], 0.0, 90.0)
    shape, kinds, columns, flat = _of_one(antenna, arrays)
    return restore(_core.antenna.gain_dbi(kinds, columns, *flat), shape)


class Peak(NamedTuple):
    """Greatest gain [dBi] and its elevation [deg]."""

    gain_dbi: Any
    elevation_deg: Any


def peak(antenna: Antenna | str, freq_khz: ArrayLike) -> Peak:
    """Greatest gain of one antenna, and the elevation of it at the azimuth of maximum radiation.

    Examples
    --------
    >>> best = peak("HR 2/2/0.5", 6100.0)
    >>> round(float(best.gain_dbi), 1), round(float(best.elevation_deg), 1)
    (16.3, 17.3)
    """
    shape, kinds, columns, flat = _of_one(antenna, {"freq_khz": _frequency(freq_khz)})
    found = _core.antenna.peak(kinds, columns, flat[0])
    return Peak(restore(found[0], shape), restore(found[1], shape))


ISOTROPIC = Antenna(kind="isotropic", sd_db=0.0, sd_off_db=0.0)
"""0 dBi everywhere: a convention, no antenna."""

NON_DIRECTIONAL = replace(crossed(0.3), sd_db=4.0)
"""What "non-directional" is taken for: crossed dipoles 0.3 wavelengths up (own choice)."""


class ElevationTable(NamedTuple):
    """Gain by elevation of many circuits, and how far it may be off."""

    gain_dbi: Floats
    """Shape (n, 46): gain at `ELEVATIONS_DEG`. [dBi]"""
    sd_db: Floats
    """Shape (n,): standard deviation, to be added (its square) to the signal's variance. [dB]"""
    basis: list[str]
    """What each row rests on: "code", "azimuth" (a typical beam) or "unknown"."""


def elevation_table_dbi(
    antenna: Antenna | str | Sequence[Antenna | str | None] | None,
    freq_khz: ArrayLike,
    off_beam_deg: ArrayLike,
    *,
    slew_deg: ArrayLike = 0.0,
    power_kw: ArrayLike = math.nan,
    floor_db: float = 25.0,
    unreadable: str = "error",
) -> ElevationTable:
    """Gain of n transmitting antennas at elevations 0, 2, ... 90 in the azimuth of the circuit.

    Parameters
    ----------
    antenna
        One for all or n of them: descriptions, codes for `parse`, or None, NaN or "" where nothing
        is known.
    freq_khz, off_beam_deg
        As in `gain_dbi`, scalars or shape (n,). NaN in `off_beam_deg` means that there is no
        azimuth; a directional antenna whose azimuth is not known counts as not known.
    slew_deg
        For codes of curtains with two columns or more; else ignored. Descriptions have their own.
        NaN is 0. [deg]
    power_kw
        Where the antenna is not known, what to assume of it: see `typical`. [kW]
    floor_db
        How far below the peak nulls are filled in: the gain g, as a ratio, becomes
        (1 - q) g + q g_peak, q = 10^(-floor_db/10). 25 dB is our own assumption. [dB]
    unreadable
        "error", or "typical": a code that cannot be read counts as not known.

    Returns
    -------
    ElevationTable. NaN in `freq_khz` gives NaN. The `sd_db` is `Antenna.sd_db` plus `sd_off_db`
    times the share of the peak that is missing in this azimuth at its best elevation.

    Raises
    ------
    InputError
        On codes that cannot be read, values out of range, lengths that do not agree.

    Examples
    --------
    >>> t = elevation_table_dbi(["HR 4/4/0.5", None], 9600.0, [0.0, 30.0], power_kw=250.0)
    >>> t.gain_dbi.shape, t.basis
    ((2, 46), ['code', 'azimuth'])
    >>> [round(float(g), 1) for g in t.gain_dbi[:, 5]]
    [21.4, 11.5]
    """
    if unreadable not in ("error", "typical"):
        raise InputError(f"unreadable = {unreadable!r} is neither 'error' nor 'typical'")
    one = antenna is None or isinstance(antenna, (Antenna, str, float))
    described: list[Any] = [antenna] if one else list(antenna)  # type: ignore[arg-type]
    numbers = {
        "antenna": np.zeros(len(described)),
        "freq_khz": _frequency(freq_khz),
        "off_beam_deg": as_float64("off_beam_deg", off_beam_deg),
        "slew_deg": as_float64("slew_deg", slew_deg),
        "power_kw": as_float64("power_kw", power_kw),
    }
    check_range("slew_deg", numbers["slew_deg"], -60.0, 60.0)
    check_range("power_kw", numbers["power_kw"], 1e-9, 1e5)
    shape = broadcast_shape(**numbers)
    if len(shape) != 1:
        raise InputError(f"the circuits have shape {shape}, expected (n,)")
    _, freq, off, slew, power = flatten(shape, *numbers.values())
    n = shape[0]
    if len(described) != n:
        described = described * n
    read: dict[tuple[Any, float], Antenna | None] = {}
    guessed: dict[tuple[float, float, bool], Antenna] = {}
    chosen: list[Antenna] = []
    basis: list[str] = []
    slew = np.where(np.isnan(slew), 0.0, slew)
    no_azimuth = np.isnan(off)
    columns_of_rows = (freq.tolist(), slew.tolist(), power.tolist(), no_azimuth.tolist())
    for what, f, s, p, lost in zip(described, *columns_of_rows, strict=True):
        if _nothing(what):
            found = None
        elif (what, s) in read:
            found = read[what, s]
        else:
            found = read[what, s] = _read(what, s, unreadable)
        if found is not None and not (lost and found.directional):
            chosen.append(found)
            basis.append("code")
            continue
        guess = (1e4 if math.isnan(f) else f, p, lost)
        if guess not in guessed:
            guessed[guess] = typical(guess[0], p, azimuth_known=not lost)
        chosen.append(guessed[guess])
        basis.append("unknown" if lost else "azimuth")
    kinds, columns = _columns(chosen, freq / 1e3)
    used = np.where(no_azimuth, 0.0, off)  # it is not used where it is not known
    flat, top = _core.antenna.elevation_table(kinds, columns, freq / 1e3, used, floor_db)
    table = flat.reshape(n, ELEVATIONS_DEG.size)
    missing = 1.0 - 10.0 ** ((table.max(axis=1) - top) / 10.0) if n else np.zeros(0)
    sd = np.array([a.sd_db for a in chosen]) + np.array([a.sd_off_db for a in chosen]) * missing
    return ElevationTable(table, sd, basis)


def _nothing(what: object) -> bool:
    """Tell whether a cell of a schedule is empty, in any of the ways of being empty."""
    return what is None or what == "" or (isinstance(what, float) and math.isnan(what))


def _read(what: object, slew_deg: float, unreadable: str) -> Antenna | None:
    """Return the antenna of a description or code; None if it counts as not known."""
    if isinstance(what, Antenna):
        return what
    if not isinstance(what, str):
        raise InputError(f"antenna {what!r} is neither a description nor a code")
    try:
        found = parse(what)
    except InputError:
        if unreadable == "error":
            raise
        return None
    if found.kind == "curtain" and found.columns > 1:
        return replace(found, slew_deg=slew_deg)
    return found
