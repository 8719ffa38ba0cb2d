"""What a receiver and an ear make of a signal with its noise and its neighbours.

The ladder of listening, rejection of neighbouring channels, the choice between AM and one sideband,
interference as a source of noise, and report codes (SINPO) as predicted distributions. Which part
is from memory, which is our own, and how many dB each may be off, stands with each function.

Deciles here are always deviations from the median, both positive. [dB]
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from farhear import _core
from farhear._arrays import as_float64, broadcast_shape, check_range, flatten, restore
from farhear.errors import InputError
from farhear.noise import Noise

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "EMISSIONS",
    "LADDER",
    "MODES",
    "Demodulation",
    "Report",
    "choose_mode",
    "interference_source",
    "ladder",
    "mode_cost_db",
    "mode_reason",
    "relative_protection_db",
    "sinpo",
    "sinpo_text",
    "upper_share",
]

LADDER: Mapping[str, float] = dict(
    zip(
        (
            "carrier audible",
            "language recognisable",
            "intelligible",
            "worth a report",
            "comfortable",
        ),
        _core.listening.RUNG_SNR_DB,
        strict=True,
    )
)
"""Rungs of listening and the carrier-to-noise ratio in 9 kHz that each asks for. [dB]

Common practice, no source: the middle ones may be off by 3 dB, the last by 5 dB.
"""

MODES = {0: "AM", 1: "LSB", 2: "USB", 3: "none"}

EMISSIONS = {
    "A3E": _core.listening.Emission.DOUBLE_SIDEBAND,
    "H3E": _core.listening.Emission.UPPER_FULL_CARRIER,
    "J3E upper": _core.listening.Emission.UPPER_NO_CARRIER,
    "J3E lower": _core.listening.Emission.LOWER_NO_CARRIER,
    "digital": _core.listening.Emission.DIGITAL,
}
"""Emissions: double sideband; upper sideband with full carrier; one sideband alone; digital."""

_RECEIVING = {
    "AM": _core.listening.Mode.AM,
    "LSB": _core.listening.Mode.LSB,
    "USB": _core.listening.Mode.USB,
}
_DECILE = (0.01, 100.0)


def ladder(
    snr_db: ArrayLike,
    lower_decile_db: ArrayLike,
    upper_decile_db: ArrayLike,
    bandwidth_hz: ArrayLike = 9000.0,
) -> Any:
    """Probability of each rung of `LADDER`.

    Parameters
    ----------
    snr_db
        Median signal-to-noise ratio in the bandwidth. [dB]
    lower_decile_db, upper_decile_db
        Deviations of its deciles from the median, 0.01 to 100, both positive. [dB]
    bandwidth_hz
        Bandwidth of `snr_db`. The rungs are densities: they are stated in 9 kHz and scale with the
        bandwidth, so that a narrow filter is not credited with making speech easier. [Hz]

    Returns
    -------
    array of the broadcast shape + (5,), in the order of `LADDER`, falling. NaN in gives NaN out.

    Raises
    ------
    InputError
        On values out of range or shapes that do not broadcast.

    References
    ----------
    Rungs: common practice, no source. Two-piece normal distribution: own.

    Examples
    --------
    >>> [round(float(p), 2) for p in ladder(17.0, 12.0, 10.0)]
    [0.88, 0.74, 0.5, 0.12, 0.01]
    """
    arrays = {
        "snr_db": as_float64("snr_db", snr_db),
        "lower_decile_db": as_float64("lower_decile_db", lower_decile_db),
        "upper_decile_db": as_float64("upper_decile_db", upper_decile_db),
        "bandwidth_hz": as_float64("bandwidth_hz", bandwidth_hz),
    }
    hint = "a deviation from the median, positive"
    check_range("lower_decile_db", arrays["lower_decile_db"], *_DECILE, hint)
    check_range("upper_decile_db", arrays["upper_decile_db"], *_DECILE, hint)
    check_range("bandwidth_hz", arrays["bandwidth_hz"], 0.01, 1e6)
    shape = broadcast_shape(**arrays)
    return _core.listening.ladder(*flatten(shape, *arrays.values())).reshape((*shape, len(LADDER)))


def relative_protection_db(offset_khz: ArrayLike, audio_khz: ArrayLike = 2.8) -> Any:
    """Strength of a neighbour in the audio against an equal station on the same channel. [dB]

    Even in the offset, smooth, 0 at 0. At 5, 10, 15 and 20 kHz it takes the planning values of HF
    broadcasting -3, -35, -49, -54 dB (from memory). Below 5 kHz the carriers whistle: up to +14 dB,
    from a spectral estimate of our own; above 20 kHz it falls 80 dB a decade (own). Estimate and
    planning values differ by up to 5 dB.

    Parameters
    ----------
    offset_khz
        Neighbour's carrier less wanted carrier. [kHz]
    audio_khz
        Audio bandwidth of the receiver, 2 to 6; the planning values hold at 2.8 by our convention.
        Another bandwidth moves the curve within 2.5 dB of what it does to the spectral estimate,
        1 dB from 10 kHz up. [kHz]

    Returns
    -------
    array of the broadcast shape. NaN in gives NaN out.

    Raises
    ------
    InputError
        On an audio bandwidth out of range or shapes that do not broadcast.

    References
    ----------
    Planning values: HF broadcasting conference 1987, from memory. The rest: own.

    Examples
    --------
    >>> [round(float(a), 1) for a in relative_protection_db([0.0, 5.0, -10.0, 20.0])]
    [0.0, -3.0, -35.0, -54.0]
    """
    arrays = {
        "offset_khz": as_float64("offset_khz", offset_khz),
        "audio_khz": as_float64("audio_khz", audio_khz),
    }
    check_range("offset_khz", arrays["offset_khz"], -3e4, 3e4, "kHz, not Hz")
    check_range("audio_khz", arrays["audio_khz"], 2.0, 6.0, "kHz, not Hz")
    shape = broadcast_shape(**arrays)
    out = _core.listening.relative_protection_db(*flatten(shape, *arrays.values()))
    return restore(out, shape)


def upper_share(offset_khz: ArrayLike) -> Any:
    """Share of a neighbour's disturbance above the wanted carrier: 1/2 at 0, 1 from +4.5 kHz. [1]

    The rest is the part of its far sideband that reaches across the wanted carrier (own estimate,
    as in `relative_protection_db`).

    Examples
    --------
    >>> [float(u) for u in upper_share([-5.0, 0.0, 5.0])]
    [0.0, 0.5, 1.0]
    """
    values = as_float64("offset_khz", offset_khz)
    check_range("offset_khz", values, -3e4, 3e4, "kHz, not Hz")
    return restore(_core.listening.upper_share(flatten(values.shape, values)[0]), values.shape)


def mode_cost_db(mode: str, emission: str = "A3E", suppression_db: float = 40.0) -> float:
    """S/N lost by a mode against AM reception of a double-sideband emission in white noise. [dB]

    One sideband of a double-sideband emission costs 3.01 dB: 6.02 dB of signal for half the noise.
    Infinite where a mode cannot work. `suppression_db` is what the receiver leaves of the other
    sideband, 30 to 60 (common practice, no source).

    Examples
    --------
    >>> round(mode_cost_db("LSB"), 2), round(mode_cost_db("AM", "H3E"), 2)
    (3.01, 6.02)
    """
    check_range("suppression_db", np.asarray(suppression_db, dtype=np.float64), 30.0, 60.0)
    return float(
        _core.listening.mode_cost_db(_receiving(mode), _emission(emission), float(suppression_db))
    )


class Demodulation(NamedTuple):
    """What each mode makes of the noise and the neighbours.

    `am_db`, `lsb_db`, `usb_db`: effective noise and interference, in the scale of the input; signal
    less this is the effective S/(N+I). [dB] `gain_db`: of the best mode over AM; infinite where AM
    cannot work, NaN where nothing does. [dB] `best`: code of `MODES`.
    """

    am_db: Any
    lsb_db: Any
    usb_db: Any
    gain_db: Any
    best: Any


def choose_mode(
    noise_db: ArrayLike,
    *,
    upper_db: ArrayLike = np.nan,
    lower_db: ArrayLike = np.nan,
    cochannel_db: ArrayLike = np.nan,
    emission: str = "A3E",
    suppression_db: float = 40.0,
) -> Demodulation:
    """Choose between AM and one sideband, exact for powers that add.

    Parameters
    ----------
    noise_db
        Noise in the receiver. All four levels in one scale of decibels. [dB]
    upper_db, lower_db, cochannel_db
        Interference from neighbours above, below, and on the channel itself, after
        `relative_protection_db`, as AM reception hears it; NaN or -infinity: none. [dB]
    emission
        One of `EMISSIONS`. H3E is taken as an A3E without its lower sideband; J3E as all the audio
        of an A3E of that power in one sideband (own conventions, 3 to 6 dB).
    suppression_db
        What the receiver leaves of the other sideband, 30 to 60. [dB]

    Returns
    -------
    Demodulation of the broadcast shape. NaN noise gives NaN and mode none.

    Raises
    ------
    InputError
        On an unknown emission, a suppression out of range or shapes that do not broadcast.

    Examples
    --------
    >>> found = choose_mode(0.0, upper_db=20.0)
    >>> MODES[int(found.best)], round(float(found.gain_db), 1)
    ('LSB', 16.9)
    """
    arrays = {
        "noise_db": as_float64("noise_db", noise_db),
        "upper_db": as_float64("upper_db", upper_db),
        "lower_db": as_float64("lower_db", lower_db),
        "cochannel_db": as_float64("cochannel_db", cochannel_db),
    }
    for name, values in arrays.items():
        check_range(name, values, -np.inf, 1000.0)
    check_range("suppression_db", np.asarray(suppression_db, dtype=np.float64), 30.0, 60.0)
    shape = broadcast_shape(**arrays)
    noise, upper, lower, cochannel = flatten(shape, *arrays.values())
    out = _core.listening.choose(
        noise, upper, lower, cochannel, _emission(emission), float(suppression_db)
    )
    return Demodulation(*(restore(column, shape) for column in out))


def mode_reason(
    noise_db: float,
    *,
    upper_db: float = np.nan,
    lower_db: float = np.nan,
    cochannel_db: float = np.nan,
    emission: str = "A3E",
    suppression_db: float = 40.0,
    upper_offset_khz: float | None = None,
    lower_offset_khz: float | None = None,
) -> str:
    """Say in one sentence which mode to take and why; arguments as in `choose_mode`, scalars.

    The offsets of the strongest neighbours, if given, are named; their signs do not matter. [kHz]

    Examples
    --------
    >>> mode_reason(0.0, upper_db=14.0, upper_offset_khz=5.0)
    'a neighbour 5 kHz up touches only the upper sideband: take the lower, 11 dB better'
    >>> mode_reason(0.0)
    'no neighbour counts: stay with AM, one sideband alone would lose 3 dB'
    """
    found = choose_mode(
        noise_db,
        upper_db=upper_db,
        lower_db=lower_db,
        cochannel_db=cochannel_db,
        emission=emission,
        suppression_db=suppression_db,
    )
    best = MODES[int(found.best)]
    if emission == "digital":
        return "a digital broadcast: this receiver makes no sound of it"
    if best == "none":
        return "the noise is not known: no mode can be chosen"
    if emission.startswith("J3E"):
        side = {"LSB": "lower", "USB": "upper"}[best]
        return f"no carrier and only the {side} sideband is sent: take {best}"
    gain = f"{float(found.gain_db):.{0 if found.gain_db >= 1.0 else 1}f} dB better"
    if emission == "H3E":
        if best == "USB":
            return f"only the upper sideband is sent: take USB, {gain} than AM; LSB cannot work"
        return "only the upper sideband is sent and a neighbour sits on it: AM is no worse than USB"
    known = {
        "up": _linear(upper_db),
        "down": _linear(lower_db),
        "channel": _linear(cochannel_db),
        "noise": _linear(noise_db),
    }
    if best == "AM":
        return _why_am(known, float(min(found.lsb_db, found.usb_db) - found.am_db))
    away, side, other = ("up", "upper", "lower") if best == "LSB" else ("down", "lower", "upper")
    offset = upper_offset_khz if best == "LSB" else lower_offset_khz
    far = f" {abs(offset):g} kHz" if offset is not None else " next channel"
    opposite = known["down" if away == "up" else "up"]
    if opposite > 0.1 * known["noise"]:
        return (
            f"neighbours on both sides, the stronger one{far} {away}: take the {other} sideband,"
            f" {gain}"
        )
    reach = _reach(offset, suppression_db)
    return f"a neighbour{far} {away} touches {reach} the {side} sideband: take the {other}, {gain}"


def _reach(offset_khz: float | None, suppression_db: float) -> str:
    """Word for how far a neighbour keeps to its side of the carrier."""
    if offset_khz is None:
        return "mostly"
    across = 1.0 - float(upper_share(abs(offset_khz)))
    return "only" if across < 10.0 ** (-suppression_db / 10.0) else "mostly"


def _why_am(known: dict[str, float], loss_db: float) -> str:
    """Sentence for a double-sideband emission that is best heard in AM."""
    sides = known["up"] + known["down"]
    if known["channel"] > max(sides, known["noise"]):
        return "the trouble is on the channel itself: stay with AM, no sideband avoids it"
    if sides > known["noise"]:
        return (
            f"neighbours on both sides: stay with AM, the better sideband would lose {loss_db:.1f}"
            " dB"
        )
    if sides > 0.1 * known["noise"]:
        return (
            f"the neighbours are weaker than the noise: stay with AM, the better sideband would"
            f" lose {loss_db:.1f} dB"
        )
    return f"no neighbour counts: stay with AM, one sideband alone would lose {loss_db:.0f} dB"


def _linear(db: float) -> float:
    return 0.0 if np.isnan(db) else float(10.0 ** (db / 10.0))


def interference_source(
    field_dbuv_m: Any,
    lower_decile_db: Any,
    upper_decile_db: Any,
    *,
    offset_khz: ArrayLike,
    freq_khz: ArrayLike,
    mode: str = "AM",
    audio_khz: float = 2.8,
    bandwidth_hz: float = 9000.0,
    suppression_db: float = 40.0,
    weight_db: float = 0.0,
) -> Noise:
    """Neighbours as one source of noise, to be combined with the others.

    Parameters
    ----------
    field_dbuv_m, lower_decile_db, upper_decile_db
        Median field of each interferer and the deviations of its deciles, 0 to 100, positive. They
        broadcast; the first axis is the interferer, or, in an `xarray.DataArray`, the dimension
        named "interferer". NaN field: not on the air. [dB(uV/m), dB, dB]
    offset_khz
        Interferer's carrier less wanted carrier, one per interferer. [kHz]
    freq_khz
        Wanted frequency, broadcast against the axes after the first. [kHz]
    mode
        "AM", "LSB" or "USB". In a sideband the S/N of signal to all noise falls by `mode_cost_db`
        besides; on its side a neighbour gains 3.01 dB on white noise, on the other it loses
        `suppression_db` less 3.01 dB.
    audio_khz
        As in `relative_protection_db`. [kHz]
    bandwidth_hz
        Bandwidth in which the noise figure counts; use 9000 with `LADDER`. [Hz]
    suppression_db
        What the receiver leaves of the other sideband, 30 to 60. [dB]
    weight_db
        How much worse than noise of equal power interference is, -20 to 20. The default 0 is for
        intelligible speech: 17 dB is asked of noise and of a fading station alike (planning
        practice, from memory). About -3 for recognising a language, -7 for comfort (common
        practice, no source). [dB]

    Returns
    -------
    farhear.noise.Noise: median noise figure above k T0 b, -infinity where nobody is on the air, and
    its decile deviations; arrays (or DataArrays) of the shape without the interferers.

    Raises
    ------
    InputError
        On values out of range or shapes that do not fit.

    References
    ----------
    Field to power: Recommendation ITU-R P.525-5. Sum of log-normal powers: P.372, from memory.

    Examples
    --------
    >>> source = interference_source([40.0], 10.0, 8.0, offset_khz=[5.0], freq_khz=9600.0)
    >>> round(float(source.fa_db), 1)
    74.6
    """
    dims, coords, inputs = _interferers_first(
        field_dbuv_m=field_dbuv_m, lower_decile_db=lower_decile_db, upper_decile_db=upper_decile_db
    )
    offset = as_float64("offset_khz", offset_khz)
    freq = as_float64("freq_khz", freq_khz)
    check_range("offset_khz", offset, -3e4, 3e4, "kHz, not Hz")
    check_range("freq_khz", freq, 1600.0, 30000.0, "kHz, not MHz")
    for name in ("lower_decile_db", "upper_decile_db"):
        check_range(name, inputs[name], 0.0, 100.0, "a deviation from the median, positive")
    for name, value, low, high in (
        ("audio_khz", audio_khz, 2.0, 6.0),
        ("bandwidth_hz", bandwidth_hz, 0.01, 1e6),
        ("suppression_db", suppression_db, 30.0, 60.0),
        ("weight_db", weight_db, -20.0, 20.0),
    ):
        check_range(name, np.asarray(value, dtype=np.float64), low, high)
    shape = broadcast_shape(**inputs)
    if not shape or offset.shape != shape[:1]:
        raise InputError(
            f"offset_khz has shape {offset.shape}, the fields {shape}:"
            " their first axis is the interferer"
        )
    missing = np.isnan(offset)
    if missing.any():
        raise InputError(f"offset_khz[{int(np.argmax(missing))}] is not a number")
    rest = broadcast_shape(fields=np.empty(shape[1:]), freq_khz=freq)
    fields = [
        np.ascontiguousarray(
            np.broadcast_to(
                a.reshape(a.shape[:1] + (1,) * (len(rest) + 1 - len(shape)) + a.shape[1:]),
                shape[:1] + rest,
            )
        ).reshape(-1)
        for a in (np.broadcast_to(v, shape) for v in inputs.values())
    ]
    out = _core.listening.interference_source(
        fields[0],
        fields[2],
        fields[1],
        np.ascontiguousarray(offset),
        _receiving(mode),
        float(audio_khz),
        float(suppression_db),
        float(weight_db),
        flatten(rest, freq / 1e3)[0],
        float(bandwidth_hz),
    )
    arrays = [restore(column, rest) for column in out]
    if dims is None or len(dims) != len(rest):
        return Noise(*arrays)
    import xarray as xr

    kept = {name: c for name, c in coords.items() if set(c.dims) <= set(dims)}
    return Noise(*(xr.DataArray(a, dims=dims, coords=kept) for a in arrays))


def _interferers_first(
    **values: Any,
) -> tuple[tuple[str, ...] | None, Any, dict[str, NDArray[np.float64]]]:
    """Plain arrays with the interferer first; dims and coordinates of labelled input."""
    import xarray as xr

    if not isinstance(values["field_dbuv_m"], xr.DataArray):
        return None, {}, {name: as_float64(name, value) for name, value in values.items()}
    aligned = xr.broadcast(
        *(v if isinstance(v, xr.DataArray) else xr.DataArray(v) for v in values.values())
    )
    if "interferer" not in aligned[0].dims:
        raise InputError(f'field_dbuv_m has dims {aligned[0].dims}, none is named "interferer"')
    first = [a.transpose("interferer", ...) for a in aligned]
    dims = tuple(str(d) for d in first[0].dims[1:])
    arrays = {name: as_float64(name, a.to_numpy()) for name, a in zip(values, first, strict=True)}
    return dims, first[0].coords, arrays


class Report(NamedTuple):
    """A predicted report code: probabilities of the digits 1 to 5, last axis, and the likeliest.

    `code` are the digits of the likeliest code (last axis: S, I, N, P, O; 0 where unknown) and
    `code_probability` is the probability of just that code.
    """

    strength: Any
    interference: Any
    noise: Any
    propagation: Any
    overall: Any
    code: Any
    code_probability: Any


def sinpo(
    *,
    field_dbuv_m: ArrayLike,
    field_lower_db: ArrayLike,
    field_upper_db: ArrayLike,
    snr_db: ArrayLike,
    noise_lower_db: ArrayLike,
    noise_upper_db: ArrayLike,
    freq_over_muf: ArrayLike,
    modes: ArrayLike = 1.0,
    signal_to_interference_db: ArrayLike = np.inf,
    interference_lower_db: ArrayLike = 0.0,
    interference_upper_db: ArrayLike = 0.0,
    bandwidth_hz: ArrayLike = 9000.0,
) -> Report:
    """Distribution of the SINPO code a listener would write.

    Strength, interference and noise share the deviation of the signal: in a good hour all three
    rise. Noise, interference and the state of the path deviate on their own.

    Parameters
    ----------
    field_dbuv_m, field_lower_db, field_upper_db
        Median field and the deviations of its deciles, day to day and within the hour together.
    snr_db, noise_lower_db, noise_upper_db
        Median S/N (without interference) in the bandwidth; decile deviations of the noise. [dB]
    freq_over_muf
        Frequency over the basic MUF, monthly median. [1]
    modes
        Number of modes of comparable strength, 1 or more. [1]
    signal_to_interference_db, interference_lower_db, interference_upper_db
        Median ratio of the signal to all neighbours, each after `relative_protection_db`, and the
        decile deviations of the neighbours' sum; infinite: no neighbour known. [dB]
    bandwidth_hz
        Of `snr_db`; it is converted to 9 kHz. [Hz]

    Returns
    -------
    Report with arrays of the broadcast shape + (5,). NaN in gives NaN out.

    Raises
    ------
    InputError
        On values out of range or shapes that do not broadcast.

    Notes
    -----
    The mapping is our own: S 22, 34, 46, 60 dB(uV/m); N 10, 20, 30, 40 dB; I 6, 14, 24, 34 dB; P by
    the MUF of the day and the number of modes; O the least of I, N, P and S + 1. Raters' thresholds
    spread by 3 dB and 2 % of their digits are whims (assumptions). A digit may be off by one.

    References
    ----------
    Letters and their words: Recommendation ITU-R SM.1135.

    Examples
    --------
    >>> r = sinpo(field_dbuv_m=50.0, field_lower_db=11.0, field_upper_db=8.0, snr_db=33.0,
    ...           noise_lower_db=5.0, noise_upper_db=10.0, freq_over_muf=0.6)
    >>> sinpo_text(r)
    '45454 (14 %)'
    """
    given: dict[str, ArrayLike] = {
        "field_dbuv_m": field_dbuv_m,
        "field_lower_db": field_lower_db,
        "field_upper_db": field_upper_db,
        "snr_db": snr_db,
        "noise_lower_db": noise_lower_db,
        "noise_upper_db": noise_upper_db,
        "signal_to_interference_db": signal_to_interference_db,
        "interference_lower_db": interference_lower_db,
        "interference_upper_db": interference_upper_db,
        "freq_over_muf": freq_over_muf,
        "modes": modes,
    }
    arrays = {name: as_float64(name, value) for name, value in given.items()}
    bandwidth = as_float64("bandwidth_hz", bandwidth_hz)
    check_range("bandwidth_hz", bandwidth, 0.01, 1e6)
    for name in arrays:
        if name.endswith(("lower_db", "upper_db")):
            check_range(name, arrays[name], 0.0, 100.0, "a deviation from the median, positive")
    check_range("freq_over_muf", arrays["freq_over_muf"], 1e-3, 1e3)
    check_range("modes", arrays["modes"], 1.0, 1e3)
    arrays["snr_db"] = arrays["snr_db"] + 10.0 * np.log10(
        bandwidth / _core.listening.RUNG_BANDWIDTH_HZ
    )
    shape = broadcast_shape(**arrays)
    probability, code, best = _core.listening.sinpo(flatten(shape, *arrays.values()))
    letters = probability.reshape((*shape, 5, 5))
    strength, interference, noise, propagation, overall = np.moveaxis(letters, -2, 0)
    return Report(
        strength,
        interference,
        noise,
        propagation,
        overall,
        code.reshape((*shape, 5)),
        restore(best, shape),
    )


def sinpo_text(report: Report) -> Any:
    """Write the likeliest code with its probability, "45434 (18 %)"; "?" where unknown.

    One text for a scalar report, else an array of texts. The percentage is what keeps it from being
    taken for an observation: most predicted codes are less likely than not.
    """
    code = np.asarray(report.code)
    chance = np.asarray(report.code_probability)
    texts = np.empty(chance.shape, dtype=object)
    for where in np.ndindex(chance.shape):
        p = float(chance[where])
        digits = "".join(str(int(d)) for d in code[where])
        texts[where] = "?" if np.isnan(p) else f"{digits} ({100.0 * p:.0f} %)"
    return texts if chance.shape else str(texts[()])


def _receiving(mode: str) -> Any:
    if mode not in _RECEIVING:
        raise InputError(f"mode = {mode!r} is none of {', '.join(map(repr, _RECEIVING))}")
    return _RECEIVING[mode]


def _emission(emission: str) -> Any:
    if emission not in EMISSIONS:
        raise InputError(f"emission = {emission!r} is none of {', '.join(map(repr, EMISSIONS))}")
    return EMISSIONS[emission]
