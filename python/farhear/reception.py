"""From modes to the likelihood that a signal is heard, and what stands in the way.

A likelihood here is a probability on the model's own terms: monthly medians, a spread from day to
day, fading within the hour, noise. It is not calibrated to a listener's log. The model card in the
README lists what is from memory, what is a proxy, and how many dB each may be off.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from farhear import _core, lightning, listening, noise
from farhear._arrays import (
    FLUX_SFU,
    Floats,
    Indices,
    as_float64,
    broadcast_shape,
    check_place,
    check_range,
    flatten,
    pair,
    restore,
)
from farhear._core_models import drive, models
from farhear.errors import InputError
from farhear.skywave import LAYERS, Physics, engine_of, modes, options, pattern, route
from farhear.times import UtcTimes, unix_s

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

    from farhear.charts.pictures import ExplanationPictures

__all__ = [
    "LIMITS",
    "Explanation",
    "Fields",
    "Interference",
    "beam_gain_dbi",
    "explain",
    "fields_of",
    "flux_points",
    "interference",
    "likelihood",
    "over_fluxes",
    "report_codes",
]

LIMITS = {
    0: "none",
    1: "above_muf",
    2: "absorption",
    3: "noise",
    4: "interference",
    5: "not_on_air",
    6: "power",
}

_NUMBERS: dict[str, tuple[str, str]] = {
    "likelihood": ("1", "likelihood of S/N at or above the required one"),
    "snr_db": ("dB", "signal-to-noise ratio in the bandwidth, monthly median"),
    "snr_lower_decile_db": ("dB", "signal-to-noise ratio exceeded on 90 % of occasions"),
    "snr_upper_decile_db": ("dB", "signal-to-noise ratio exceeded on 10 % of occasions"),
    "field_dbuv_m": ("dB(uV/m)", "field strength, sum of modes, monthly median"),
    "muf_mhz": ("MHz", "highest basic maximum usable frequency, monthly median"),
    "absorption_db": ("dB", "absorption of the strongest mode"),
    "noise_fa_db": ("dB", "external noise figure above k T0 b, all sources, interference too"),
    "noise_lower_decile_db": ("dB", "noise, deviation of the lower decile from the median"),
    "noise_upper_decile_db": ("dB", "noise, deviation of the upper decile from the median"),
    "elevation_deg": ("degree", "elevation of the strongest mode"),
    "freq_over_muf": ("1", "frequency over the basic MUF of the strongest mode, 0 for Es"),
    "modes_count": ("1", "modes within 10 dB of the strongest"),
}
_SOURCE = "farhear, rays and closed forms, ITU-R P.533, P.372, P.842, P.534 (see the model card)"
_REACH_KHZ = 25.0  # neighbours farther off do not matter
_DECILE = 1.2815515655446004  # standard deviations
_NOT_BRIEF = ("snr_lower_decile_db", "snr_upper_decile_db", "rung_likelihood")


def likelihood(
    tx_lat_deg: ArrayLike,
    tx_lon_deg: ArrayLike,
    rx_lat_deg: ArrayLike,
    rx_lon_deg: ArrayLike,
    freq_khz: ArrayLike,
    utc: Any,
    *,
    power_kw: ArrayLike,
    f107_sfu: ArrayLike,
    f107_sd_sfu: ArrayLike = 0.0,
    tx_gain_dbi: ArrayLike = 0.0,
    tx_pattern_dbi: ArrayLike | None = None,
    tx_gain_sd_db: ArrayLike = 0.0,
    noise: str | ArrayLike = "residential",
    atmospheric: str | noise.Noise | None = "proxy",
    bandwidth_hz: ArrayLike = 9000.0,
    required_snr_db: ArrayLike = 17.0,
    kp: ArrayLike | None = None,
    xray_w_m2: ArrayLike | None = None,
    proton_2_pfu: ArrayLike | None = None,
    proton_5_pfu: ArrayLike | None = None,
    long_path: str = "both",
    interferers: pd.DataFrame | Iterable[Mapping[str, Any]] | Interference | None = None,
    emission: str = "A3E",
    audio_khz: float = 2.8,
    suppression_db: float = 40.0,
    min_elevation_deg: ArrayLike = 1.0,
    engine: str = "rays",
    physics: Physics | None = None,
    saturate: bool = True,
    field_year: float | None = None,
    foe_form: str = "b",
    brief: bool = False,
) -> xr.Dataset:
    """Likelihood that a signal is received well enough, with its S/N and what limits it.

    All arguments broadcast. Where circuits and instants lie on different axes, e.g. circuits of
    shape (n, 1) against times of shape (t,), each circuit and each instant is prepared only once:
    that is the fast way; circuits that share both ends (other frequencies, other powers) share the
    ionosphere too. It serves any emitter, a beacon of 100 W in 500 Hz as well as a broadcast.

    Parameters
    ----------
    tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg
        Transmitter and receiver, north and east positive. [deg]
    freq_khz
        Frequency, 1600 to 30000. [kHz]
    utc
        Instants (see `farhear.utc`).
    power_kw
        Transmitter power. [kW]
    f107_sfu
        12-month smoothed 10.7 cm flux, observed (see `farhear.indices`). [sfu]
    f107_sd_sfu
        How well it is known, for a forecast (see `farhear.forecast`): standard deviation, 0 to 200.
        The likelihood is the mean over three fluxes, which takes three times as long (rms error
        of that mean 0.002 at 10 sfu, 0.004 at 30; up to 0.05 on 450 circuits and hours); the S/N
        deciles widen; all else belongs to `f107_sfu`. [sfu]
    tx_gain_dbi
        Antenna gain towards the receiver at usual take-off angles. Without a pattern the gain falls
        towards the horizon as over average ground. [dBi]
    tx_pattern_dbi
        Gain at elevations 0, 2 to 90 deg, last axis 46, added to `tx_gain_dbi` (see
        `farhear.antenna.elevation_table_dbi`). [dBi]
    tx_gain_sd_db
        How well the antenna is known: standard deviation, joins the other variations. [dB]
    noise
        "city", "residential", "rural", "quiet rural", or the measured median man-made noise figure
        at this frequency [dB above k T0 b] (deciles of residential are then assumed).
    atmospheric
        Noise of lightning: "proxy" (`farhear.lightning.noise`, good to about 10 dB; not added to a
        measured `noise`, which has it already), medians and deciles of your own that broadcast with
        the result, as a `farhear.noise.Noise`, or None. [dB]
    bandwidth_hz
        Receiver bandwidth. [Hz]
    required_snr_db
        Signal-to-noise ratio in that bandwidth that counts as heard; `farhear.listening.LADDER` has
        the usual rungs: 6 a carrier, 11 language recognisable, 17 intelligible with effort, 26
        worth a report, 34 comfortable (common practice, no source). [dB]
    kp
        Largest Kp of the last day: lowers foF2 at high modip. None: quiet.
    xray_w_m2
        Solar X-ray flux at 0.1 to 0.8 nm: flare absorption. None: quiet. [W/m^2]
    proton_2_pfu, proton_5_pfu
        Protons above 2.2 and 5.2 MeV: absorption over the polar caps. None: quiet. [pfu]
    long_path
        "short", "long" or "both" ways round the Earth (powers add).
    interferers
        Other emitters near the channel, a table or mappings with tx_lat_deg, tx_lon_deg, freq_khz,
        power_kw, and if wanted tx_gain_dbi, tx_pattern_dbi, tx_gain_sd_db and on_air (true or
        false, broadcasting with the result). Those within 25 kHz count, each with its own fading,
        weighted by their offset; the better of AM and one sideband is taken. Or what `interference`
        returned for the same circuits, instants, emission and one flux: then it is not worked out
        again.
    emission, audio_khz, suppression_db
        What is sent and how the receiver filters, see `farhear.listening`.
    min_elevation_deg
        Lowest elevation that counts fully, 0 to 30; below it 8 dB per square degree are lost. [deg]
    engine
        "rays", or "mirror": the fast path of closed forms, a cross-check (without pattern, kp,
        X-ray and proton fluxes, sporadic E).
    physics
        Pieces of the physics to switch off, see `farhear.skywave.Physics`.
    saturate, field_year, foe_form
        As in `farhear.ionosphere.characteristics`.
    brief
        Leave out the deciles of S/N and the rungs, about a tenth of the work.

    Returns
    -------
    xarray.Dataset of the broadcast shape, dims dim_0, dim_1, ...: likelihood, snr_db (S/(N+I) with
    interferers), snr_lower_decile_db, snr_upper_decile_db, field_dbuv_m, muf_mhz, absorption_db,
    noise_fa_db with its deciles, elevation_deg, freq_over_muf, modes_count, hops, layer, long_path,
    limit, demodulation and its gain; rung_likelihood has one more axis: the rungs of the ladder.
    `limit` is what would help most if it were taken away, where the likelihood is below one half:
    above_muf, absorption, noise, interference, power. NaN in gives NaN out.

    Raises
    ------
    InputError
        On naive times, values out of range, shapes that do not broadcast.

    Examples
    --------
    >>> import farhear as fh
    >>> r = likelihood(45.0, 25.0, 51.5, 0.0, 9600.0, "2025-03-15T18:00Z", power_kw=250.0,
    ...                f107_sfu=145.4, tx_gain_dbi=17.0)
    >>> bool(r.likelihood > 0.9)
    True
    """
    shared: dict[str, Any] = {
        "f107_sfu": f107_sfu,
        "noise": noise,
        "bandwidth_hz": bandwidth_hz,
        "kp": kp,
        "xray_w_m2": xray_w_m2,
        "proton_2_pfu": proton_2_pfu,
        "proton_5_pfu": proton_5_pfu,
        "long_path": long_path,
        "min_elevation_deg": min_elevation_deg,
        "engine": engine,
        "physics": physics,
        "saturate": saturate,
        "field_year": field_year,
        "foe_form": foe_form,
    }
    doubt = as_float64("f107_sd_sfu", f107_sd_sfu)
    check_range("f107_sd_sfu", doubt, 0.0, 200.0)
    flux = as_float64("f107_sfu", f107_sfu)
    check_range("f107_sfu", flux, *FLUX_SFU)
    flux = np.broadcast_to(flux, broadcast_shape(f107_sfu=flux, f107_sd_sfu=doubt))
    if not (doubt == 0.0).all():
        given = shared | {
            "power_kw": power_kw,
            "tx_gain_dbi": tx_gain_dbi,
            "tx_pattern_dbi": tx_pattern_dbi,
            "tx_gain_sd_db": tx_gain_sd_db,
            "atmospheric": atmospheric,
            "required_snr_db": required_snr_db,
            "interferers": interferers
            if interferers is None or isinstance(interferers, Interference)
            else _table(interferers),
            "emission": emission,
            "audio_khz": audio_khz,
            "suppression_db": suppression_db,
        }
        circuit = (tx_lat_deg, tx_lon_deg, rx_lat_deg, rx_lon_deg, freq_khz, utc)
        whole = over_fluxes(
            *(likelihood(*circuit, **given | {"f107_sfu": one}) for one in flux_points(flux, doubt))
        )
        return whole.drop_vars(["rung", *_NOT_BRIEF]) if brief else whole
    freq = as_float64("freq_khz", freq_khz)
    table = pattern(tx_pattern_dbi)
    columns = {
        "tx_lat_deg": as_float64("tx_lat_deg", tx_lat_deg),
        "tx_lon_deg": as_float64("tx_lon_deg", tx_lon_deg),
        "rx_lat_deg": as_float64("rx_lat_deg", rx_lat_deg),
        "rx_lon_deg": as_float64("rx_lon_deg", rx_lon_deg),
        "freq_khz": freq,
        "power_kw": as_float64("power_kw", power_kw),
        "tx_gain_dbi": as_float64("tx_gain_dbi", tx_gain_dbi),
        **_noise_columns(noise, freq),
        "bandwidth_hz": as_float64("bandwidth_hz", bandwidth_hz),
        "required_snr_db": as_float64("required_snr_db", required_snr_db),
        "min_elevation_deg": as_float64("min_elevation_deg", min_elevation_deg),
        "tx_gain_sd_db": as_float64("tx_gain_sd_db", tx_gain_sd_db),
    }
    check_place(columns["tx_lat_deg"], columns["tx_lon_deg"], "tx_")
    check_place(columns["rx_lat_deg"], columns["rx_lon_deg"], "rx_")
    check_range("power_kw", columns["power_kw"], 1e-9, 1e5)
    check_range("bandwidth_hz", columns["bandwidth_hz"], 0.01, 1e6)
    check_range("min_elevation_deg", columns["min_elevation_deg"], 0.0, 30.0)
    check_range("tx_gain_sd_db", columns["tx_gain_sd_db"], 0.0, 30.0)
    plain = len(columns)
    if table.size:
        columns |= {f"gain at {2 * i} deg": table[..., i] for i in range(table.shape[-1])}
    disturbed = {"kp": kp, "xray_w_m2": xray_w_m2}
    disturbed |= {"proton_2_pfu": proton_2_pfu, "proton_5_pfu": proton_5_pfu}
    instants = {"utc": unix_s(utc), "f107_sfu": flux}
    instants |= {
        name: as_float64(name, np.nan if value is None else value)
        for name, value in disturbed.items()
    }
    pairing = pair(columns, instants)
    how = drive(saturate=saturate, field_year=field_year, foe_form=foe_form)
    which, way, switches = engine_of(engine), route(long_path), options(physics)
    rows = [*pairing.rows[:plain], _stack(pairing.rows[plain:])]

    def call(
        when: list[Floats], row_index: Indices, index: Indices, each: list[Floats]
    ) -> dict[str, Any]:
        args = (models(), how, way, which, switches, rows, when, row_index, index, each, brief)
        found = _core.reception.likelihood(*args)
        rungs = found.pop("rungs")
        if brief:
            found = {name: column for name, column in found.items() if name not in _NOT_BRIEF}
        else:
            found["rung_likelihood"] = rungs.reshape(-1, len(listening.LADDER))
        return found

    none = np.empty(0)
    if isinstance(atmospheric, str):
        if atmospheric != "proxy":
            raise InputError(f"atmospheric = {atmospheric!r} is neither 'proxy', a Noise, nor None")
        storms = (
            _storms(columns, instants, utc, flux, pairing.shape) if isinstance(noise, str) else None
        )
    else:
        storms = atmospheric
    thunder = _sources(storms, pairing.shape)
    if isinstance(interferers, Interference):
        found = pairing.run(call, [*thunder, *interferers.source, interferers.cost_db])
        found["demodulation"] = np.broadcast_to(interferers.mode, pairing.shape)
        found["demodulation_gain_db"] = np.broadcast_to(interferers.gain_db, pairing.shape)
        return _dataset(found, len(pairing.shape))
    found = pairing.run(call, [*thunder, none, none, none, none])
    if interferers is None and emission == "A3E":
        found["demodulation"] = np.zeros(pairing.shape, np.uint8)
        found["demodulation_gain_db"] = np.zeros(pairing.shape)
    else:
        shared |= {"atmospheric": None}
        fields = _neighbours(
            _table(interferers), rx_lat_deg, rx_lon_deg, freq, utc, pairing.shape, shared
        )
        best = interference(
            fields,
            np.broadcast_to(freq, pairing.shape),
            found["noise_fa_db"],
            np.broadcast_to(columns["bandwidth_hz"], pairing.shape),
            emission=emission,
            audio_khz=audio_khz,
            suppression_db=suppression_db,
        )
        found = pairing.run(call, [*thunder, *best.source, best.cost_db])
        found["demodulation"] = best.mode
        found["demodulation_gain_db"] = best.gain_db
    return _dataset(found, len(pairing.shape))


def flux_points(f107_sfu: ArrayLike, sd_sfu: ArrayLike) -> list[Floats]:
    """The three fluxes of `over_fluxes`, within the range of the maps. [sfu]"""
    mean, sd = np.asarray(f107_sfu, np.float64), np.asarray(sd_sfu, np.float64)
    return [np.clip(mean + z * sd, *FLUX_SFU) for z in (-np.sqrt(3.0), 0.0, np.sqrt(3.0))]


def over_fluxes(low: xr.Dataset, middle: xr.Dataset, high: xr.Dataset) -> xr.Dataset:
    """Mean over a normal distribution of the flux by its values at 0 and +-sqrt(3) deviations.

    Source of the weights 1/6, 2/3, 1/6: Gauss-Hermite quadrature of three points, exact for
    polynomials up to the fifth degree (tables).
    """

    def mean(name: str) -> Any:
        return middle[name] * (2.0 / 3.0) + (low[name] + high[name]) / 6.0

    out = middle.copy()
    for name in ("likelihood", "rung_likelihood"):
        out[name] = mean(name).assign_attrs(middle[name].attrs)
    ends = [one["snr_db"].to_numpy() for one in (low, middle, high)]
    with np.errstate(invalid="ignore"):  # no mode at all: -inf less -inf
        centre = (ends[0] + 4.0 * ends[1] + ends[2]) / 6.0
        variance = sum(
            w * (end - centre) ** 2 for w, end in zip((1 / 6, 2 / 3, 1 / 6), ends, strict=True)
        )
        for name, sign in (("snr_lower_decile_db", -1.0), ("snr_upper_decile_db", 1.0)):
            away = np.abs(middle[name] - middle["snr_db"])
            wider = middle["snr_db"] + sign * np.hypot(away, _DECILE * np.sqrt(variance))
            out[name] = wider.where(np.isfinite(wider), middle[name]).assign_attrs(
                middle[name].attrs
            )
    return out


def _dataset(found: dict[str, Any], count: int) -> xr.Dataset:
    """Columns with units and words."""
    import xarray as xr

    found["noise_lower_decile_db"] = found.pop("noise_lower_db")
    found["noise_upper_decile_db"] = found.pop("noise_upper_db")
    dims = tuple(f"dim_{i}" for i in range(count))
    variables: dict[str, Any] = {}
    for name, (unit, text) in _NUMBERS.items():
        attrs: dict[str, Any] = {"units": unit, "long_name": text, "source": _SOURCE}
        if name in found:
            variables[name] = (dims, found[name], attrs)
    rungs: dict[str, Any] = {}
    if "rung_likelihood" in found:
        text = "likelihood of each rung of the listening ladder"
        variables["rung_likelihood"] = (
            (*dims, "rung"),
            found["rung_likelihood"],
            {"units": "1", "long_name": text, "source": _SOURCE},
        )
        rungs = {"rung": list(listening.LADDER)}
    text = "gain of the better demodulation over AM"
    variables["demodulation_gain_db"] = (
        dims,
        found["demodulation_gain_db"],
        {"units": "dB", "long_name": text, "source": _SOURCE},
    )
    text = "hops of the strongest mode"
    variables["hops"] = (
        dims,
        found["hops"],
        {"units": "1", "long_name": text, "source": _SOURCE},
    )
    for name, words, text in [
        ("layer", LAYERS, "reflecting layer of the strongest mode"),
        ("long_path", {0: "short", 1: "long"}, "way round the Earth of the strongest mode"),
        ("limit", LIMITS, "what limits reception"),
        ("demodulation", listening.MODES, "better way to demodulate"),
    ]:
        variables[name] = (dims, found[name], flags(words, text))
    return xr.Dataset(
        variables,
        coords=rungs,
        attrs={"farhear_version": _core.__version__},
    )


def _stack(columns: list[Floats]) -> Floats:
    """Pattern columns as the core wants them, row by row."""
    if not columns:
        return np.empty(0)
    return np.ascontiguousarray(np.stack(columns, axis=-1)).reshape(-1)


def _storms(
    columns: dict[str, Floats],
    instants: dict[str, Floats],
    utc: Any,
    flux: Floats,
    shape: tuple[int, ...],
) -> noise.Noise:
    """Lightning noise at the receiver; each frequency only once where the receiver is one place."""
    lat, lon, freq = columns["rx_lat_deg"], columns["rx_lon_deg"], columns["freq_khz"]
    alone = all(
        a == 1 or b == 1 for a, b in zip(*_padded(freq, instants["utc"] + flux), strict=True)
    )
    if lat.size != 1 or lon.size != 1 or freq.size == 1 or not alone:
        return lightning.noise(utc, lat, lon, freq, flux)
    # frequencies behind everything, so that those of one instant stand together; then each where it
    # belongs
    each, which = np.unique(freq, return_inverse=True)
    when = UtcTimes(instants["utc"][..., None])
    found = lightning.noise(when, lat, lon, each, flux[..., None])
    index = np.broadcast_to(which.reshape(freq.shape), shape)[..., None]
    return noise.Noise(
        *(
            np.take_along_axis(np.broadcast_to(part, (*shape, each.size)), index, axis=-1)[..., 0]
            for part in found
        )
    )


def _padded(*arrays: Floats) -> list[tuple[int, ...]]:
    """Shapes with as many axes each."""
    most = max(a.ndim for a in arrays)
    return [(1,) * (most - a.ndim) + a.shape for a in arrays]


def _sources(given: noise.Noise | None, shape: tuple[int, ...]) -> list[Floats]:
    """A noise source in the broadcast shape: median, upper, lower."""
    if given is None:
        return [np.empty(0)] * 3
    names = ("atmospheric fa_db", "atmospheric upper_decile_db", "atmospheric lower_decile_db")
    arrays = [as_float64(name, part) for name, part in zip(names, given, strict=True)]
    check_range(names[0], arrays[0], -np.inf, 200.0)
    check_range(names[1], arrays[1], 0.0, 60.0)
    check_range(names[2], arrays[2], 0.0, 60.0)
    return [np.broadcast_to(array, shape) for array in arrays]


# Neighbours -------------------------------------------------------------------------------------


class Fields(NamedTuple):
    """Interferers at the receiver, first axis: frequency, median field, decile deviations.

    A field is NaN where its emitter is off the air. [kHz, dB(uV/m), dB, dB]
    """

    freq_khz: Floats
    dbuv_m: Floats
    lower_db: Floats
    upper_db: Floats


class Interference(NamedTuple):
    """The better demodulation: interference as a source of noise, cost, code, gain over AM."""

    source: list[Floats]
    cost_db: Floats
    mode: Any
    gain_db: Floats


def _table(
    interferers: pd.DataFrame | Iterable[Mapping[str, Any]] | None,
) -> list[dict[str, Any]]:
    """Rows of the interferers, complete."""
    if interferers is None:
        return []
    rows: Any = interferers
    if hasattr(rows, "to_dict"):
        rows = rows.to_dict("records")
    out = []
    for number, row in enumerate(rows):
        wanted = ("tx_lat_deg", "tx_lon_deg", "freq_khz", "power_kw")
        missing = [name for name in wanted if name not in row]
        if missing:
            raise InputError(f"interferers[{number}] has no {', '.join(missing)}")
        rest = {"tx_gain_dbi": 0.0, "tx_pattern_dbi": None, "tx_gain_sd_db": 0.0, "on_air": True}
        out.append({**rest, **row})
    return out


def _neighbours(
    table: list[dict[str, Any]],
    rx_lat_deg: ArrayLike,
    rx_lon_deg: ArrayLike,
    freq_khz: Floats,
    utc: Any,
    shape: tuple[int, ...],
    shared: dict[str, Any],
) -> Fields | None:
    """Fields of all interferers near enough to any of the wanted channels."""
    kept: list[tuple[Floats, Floats, Floats]] = []
    freqs = []
    for row in table:
        if not (np.abs(freq_khz - row["freq_khz"]) <= _REACH_KHZ).any():
            continue
        seen = likelihood(
            row["tx_lat_deg"],
            row["tx_lon_deg"],
            rx_lat_deg,
            rx_lon_deg,
            row["freq_khz"],
            utc,
            power_kw=row["power_kw"],
            tx_gain_dbi=row["tx_gain_dbi"],
            tx_pattern_dbi=row["tx_pattern_dbi"],
            tx_gain_sd_db=row["tx_gain_sd_db"],
            **shared,
        )
        kept.append(fields_of(seen, row["on_air"]))
        freqs.append(float(row["freq_khz"]))
    if not kept:
        return None
    columns = [np.stack([np.broadcast_to(one[k], shape) for one in kept]) for k in range(3)]
    return Fields(np.array(freqs), *columns)


def fields_of(seen: xr.Dataset, on_air: ArrayLike = True) -> tuple[Floats, Floats, Floats]:
    """Median field and its deciles, of what `likelihood` returned for emitters alone."""
    lower, upper = _field_deciles(seen)
    return np.where(on_air, seen["field_dbuv_m"].to_numpy(), np.nan), lower, upper


def interference(
    fields: Fields | None,
    freq_khz: Floats,
    noise_fa_db: Floats,
    bandwidth_hz: Floats,
    *,
    emission: str = "A3E",
    audio_khz: float = 2.8,
    suppression_db: float = 40.0,
) -> Interference:
    """Choose between AM, LSB and USB for every evaluation: the least noise and interference.

    Parameters
    ----------
    fields
        Interferers, whose arrays have the shape of the others after the first axis; those within
        25 kHz count. None: there are none.
    freq_khz, noise_fa_db, bandwidth_hz
        Of the wanted circuits, all of one shape: frequency [kHz], noise figure without the
        interferers [dB], bandwidth [Hz].
    emission, audio_khz, suppression_db
        As in `likelihood`.
    """
    shape = noise_fa_db.shape
    source = [np.full(shape, np.nan) for _ in range(3)]
    cost = np.zeros(shape)
    mode = np.zeros(shape, np.uint8)
    gain = np.zeros(shape)
    for freq in np.unique(freq_khz[~np.isnan(freq_khz)]):
        here = freq_khz == freq
        near = None if fields is None else np.abs(fields.freq_khz - freq) <= _REACH_KHZ
        parts = None
        if fields is not None and near is not None and near.any():
            offset_khz = fields.freq_khz[near] - freq
            columns = (fields.dbuv_m, fields.lower_db, fields.upper_db)
            parts = Fields(offset_khz, *(column[near][:, here] for column in columns))
        found = []
        for name in ("AM", "LSB", "USB"):
            extra = listening.mode_cost_db(name, emission, suppression_db)
            fa = _summed(parts, here, freq, name, audio_khz, suppression_db, bandwidth_hz)
            total = 10 * np.log10(10 ** (noise_fa_db[here] / 10) + 10 ** (fa[0] / 10)) + extra
            found.append((total, fa, extra))
        totals = np.stack([total for total, _, _ in found])
        best = np.argmin(totals, axis=0)
        mode[here] = best
        gain[here] = totals[0] - np.take_along_axis(totals, best[None], axis=0)[0]
        cost[here] = np.array([extra for _, _, extra in found])[best]
        for part in range(3):
            each = np.stack([fa[part] for _, fa, _ in found])
            source[part][here] = np.take_along_axis(each, best[None], axis=0)[0]
    source[0][np.isneginf(source[0])] = np.nan
    return Interference(source, cost, mode, gain)


def _summed(
    near: Fields | None,
    here: Any,
    freq_khz: float,
    mode: str,
    audio_khz: float,
    suppression_db: float,
    bandwidth_hz: Floats,
) -> list[Floats]:
    """Interference of all neighbours in one mode: median, upper, lower; -inf for none."""
    if near is None:
        count = int(here.sum())
        return [np.full(count, -np.inf), np.zeros(count), np.zeros(count)]
    parts = listening.interference_source(
        near.dbuv_m,
        near.lower_db,
        near.upper_db,
        offset_khz=near.freq_khz,
        freq_khz=freq_khz,
        mode=mode,
        audio_khz=audio_khz,
        bandwidth_hz=9000.0,
        suppression_db=suppression_db,
    )
    # a noise figure is per hertz: the interference stays what it is in another bandwidth
    to_bandwidth_db = 10 * np.log10(9000.0 / bandwidth_hz[here])
    return [
        np.asarray(parts.fa_db) + to_bandwidth_db,
        np.asarray(parts.upper_decile_db),
        np.asarray(parts.lower_decile_db),
    ]


def report_codes(seen: xr.Dataset, bandwidth_hz: ArrayLike = 9000.0) -> listening.Report:
    """Distribution of the report codes that a listener may write down.

    Parameters
    ----------
    seen
        What `likelihood` returned, without interferers: the interference digit then says "none
        known".
    bandwidth_hz
        The bandwidth it was given. [Hz]

    Returns
    -------
    farhear.listening.Report, see `farhear.listening.sinpo`; `farhear.listening.sinpo_text` makes it
    readable.

    Examples
    --------
    >>> seen = likelihood(45.0, 25.0, 51.5, 0.0, 9600.0, "2025-03-15T18:00Z", power_kw=250.0,
    ...                   f107_sfu=145.4, tx_gain_dbi=17.0)
    >>> report_codes(seen).strength.shape
    (5,)
    """
    lower, upper = _field_deciles(seen)
    return listening.sinpo(
        field_dbuv_m=seen["field_dbuv_m"].to_numpy(),
        field_lower_db=lower,
        field_upper_db=upper,
        snr_db=seen["snr_db"].to_numpy(),
        noise_lower_db=np.maximum(seen["noise_lower_decile_db"].to_numpy(), 0.1),
        noise_upper_db=np.maximum(seen["noise_upper_decile_db"].to_numpy(), 0.1),
        freq_over_muf=seen["freq_over_muf"].to_numpy(),
        modes=np.maximum(seen["modes_count"].to_numpy(), 1.0),
        bandwidth_hz=bandwidth_hz,
    )


def _field_deciles(seen: xr.Dataset) -> tuple[Floats, Floats]:
    """Decile deviations of the field alone: those of S/N with the noise taken out again. [dB]

    At most 100 dB: what comes through on few days only may be any distance down on the others.
    """
    below = (seen["snr_db"] - seen["snr_lower_decile_db"]).to_numpy()
    above = (seen["snr_upper_decile_db"] - seen["snr_db"]).to_numpy()
    lower = below**2 - seen["noise_upper_decile_db"].to_numpy() ** 2
    upper = above**2 - seen["noise_lower_decile_db"].to_numpy() ** 2
    return np.sqrt(np.clip(lower, 1.0, 1e4)), np.sqrt(np.clip(upper, 1.0, 1e4))


# Why not ----------------------------------------------------------------------------------------


class Explanation(NamedTuple):
    """Why a signal is heard or not: the likelihood, what limits it, a sentence, the loss budget."""

    likelihood: float
    limit: str
    sentence: str
    budget: pd.DataFrame

    @property
    def plot(self) -> ExplanationPictures:
        """Charts: `budget()`."""
        from farhear.charts.pictures import ExplanationPictures

        return ExplanationPictures(self)


_WHY = {
    "none": "is likely heard",
    "above_muf": "is held back by the ionosphere: it does not carry {freq} on this path",
    "absorption": "is held back by absorption in the D region",
    "noise": "is held back by noise at the receiver",
    "interference": "is held back by other stations on or beside the channel",
    "power": "is too weak for the distance: no single loss stands out",
}


def explain(
    tx_lat_deg: float,
    tx_lon_deg: float,
    rx_lat_deg: float,
    rx_lon_deg: float,
    freq_khz: float,
    utc: Any,
    *,
    power_kw: float,
    f107_sfu: float,
    required_snr_db: float = 17.0,
    **given: Any,
) -> Explanation:
    """Loss budget of one circuit at one instant, and one plain sentence.

    Arguments as in `likelihood`, one number each.

    Returns
    -------
    Explanation; `budget` has the columns item, db and note and runs from the transmitter's power to
    the margin over the required S/N. The strongest mode is followed; what the other modes and days
    add is one line.

    Raises
    ------
    InputError
        As `likelihood`, and on anything but single numbers.

    Examples
    --------
    >>> why = explain(45.0, 25.0, 58.4, 26.7, 2400.0, "2025-06-15T10:00Z", power_kw=10.0,
    ...               f107_sfu=120.0)
    >>> why.limit
    'absorption'
    """
    import pandas as pd

    seen = likelihood(
        tx_lat_deg,
        tx_lon_deg,
        rx_lat_deg,
        rx_lon_deg,
        freq_khz,
        utc,
        power_kw=power_kw,
        f107_sfu=f107_sfu,
        required_snr_db=required_snr_db,
        **given,
    )
    if seen["likelihood"].size != 1:
        raise InputError("explain takes one circuit at one instant")
    value = {name: variable.to_numpy().reshape(-1)[0] for name, variable in seen.items()}
    if given.get("engine", "rays") != "rays":
        raise InputError("explain follows rays only: engine = 'rays'")
    kept = ("tx_gain_dbi", "tx_pattern_dbi", "long_path", "min_elevation_deg", "physics")
    table = modes(
        tx_lat_deg,
        tx_lon_deg,
        rx_lat_deg,
        rx_lon_deg,
        freq_khz,
        utc,
        f107_sfu=f107_sfu,
        power_kw=power_kw,
        kp=np.nan if given.get("kp") is None else given["kp"],
        xray_w_m2=np.nan if given.get("xray_w_m2") is None else given["xray_w_m2"],
        **{name: given[name] for name in kept if name in given},
    )
    same = (
        (table["layer"] == LAYERS[int(value["layer"])])
        & (table["hops"] == int(value["hops"]))
        & (table["long_path"] == bool(value["long_path"]))
    )
    mode = (table[same] if same.any() else table).iloc[0]
    bandwidth_db = 10 * np.log10(float(given.get("bandwidth_hz", 9000.0)))
    support = f"MUF {mode['muf_mhz']:.1f} MHz on the median day"
    if not mode["muf_mhz"] > 0.0:
        support = "sporadic E comes and goes"
    rows = [
        ("transmitter power", 10 * np.log10(power_kw), "dB above 1 kW"),
        ("transmitting antenna", mode["gain_dbi"], f"at {mode['elevation_deg']:.0f} deg"),
        ("field of 1 kW at 1 km", 104.75, "dB above 1 uV/m"),
        (
            "distance",
            32.45 + 20 * np.log10(freq_khz / 1e3) - mode["free_space_db"],
            f"{mode['group_path_km']:.0f} km along the ray",
        ),
        ("focusing", mode["focusing_db"], "of the rays"),
        ("absorption", -mode["absorption_db"], "in the D region"),
        ("ground", -mode["ground_db"], f"{mode['hops'] - 1} reflections"),
        ("high latitude", -mode["auroral_db"], "auroral and other losses"),
        ("horizon", -mode["horizon_db"], "below the least elevation"),
        ("low angle", -mode["low_angle_db"], "both antennas over ground"),
        ("support", -mode["support_db"], support),
        ("screening", -mode["screening_db"], "by a lower layer"),
        ("other", -mode["other_db"], "not otherwise included"),
        ("other modes and days", value["field_dbuv_m"] - mode["field_dbuv_m"], "added up"),
        ("field", value["field_dbuv_m"], "dB above 1 uV/m, monthly median"),
        ("to power", -20 * np.log10(freq_khz / 1e3) - 107.2, "isotropic antenna, dBW"),
        ("noise", -(value["noise_fa_db"] + bandwidth_db - 204.0), "all sources, dBW"),
        ("S/N", value["snr_db"], "monthly median"),
        ("required", -required_snr_db, ""),
        ("margin", value["snr_db"] - required_snr_db, ""),
    ]
    limit = LIMITS[int(value["limit"])]
    what = _WHY[limit].format(freq=f"{freq_khz:.0f} kHz")
    margin_db = value["snr_db"] - required_snr_db
    side = "above" if margin_db >= 0 else "below"
    sentence = (
        f"With likelihood {value['likelihood']:.2f} the signal {what}; its median S/N of "
        f"{value['snr_db']:.0f} dB lies {abs(margin_db):.0f} dB {side} what is asked, by "
        f"{mode['hops']} hop{'s' if mode['hops'] > 1 else ''} of {mode['layer']} at "
        f"{max(mode['elevation_deg'], 0):.0f} deg."
    )
    budget = pd.DataFrame(rows, columns=["item", "db", "note"]).round({"db": 1})
    return Explanation(float(value["likelihood"]), limit, sentence, budget)


def flags(words: dict[int, str], long_name: str) -> dict[str, Any]:
    """CF attributes of a coded variable."""
    return {
        "long_name": long_name,
        "flag_values": np.array(list(words), dtype=np.uint8),
        "flag_meanings": " ".join(words.values()),
        "source": _SOURCE,
    }


def _noise_columns(value: str | ArrayLike, freq_khz: Floats) -> dict[str, Floats]:
    """Turn surroundings or a measured figure into median and deciles."""
    if isinstance(value, str):
        fa_db, upper, lower = noise.man_made(value, freq_khz)
    else:
        _, upper, lower = noise.man_made("residential", freq_khz)
        fa_db = as_float64("noise", value)
        check_range("noise", fa_db, -60.0, 200.0, "a noise figure in dB above k T0 b")
    return {
        "man_made_fa_db": np.asarray(fa_db),
        "man_made_upper_db": np.asarray(upper),
        "man_made_lower_db": np.asarray(lower),
    }


def beam_gain_dbi(
    off_beam_deg: ArrayLike,
    peak_dbi: ArrayLike = 17.0,
    width_deg: ArrayLike = 40.0,
    floor_db: ArrayLike = 18.0,
) -> Any:
    """Gain of a directional transmitting antenna so many degrees off its beam. [dBi]

    A proxy of our own, no pattern data: Gaussian main lobe, half power at half of `width_deg` on
    either side, never more than `floor_db` below the peak. Defaults are common practice for curtain
    arrays, no source; the real pattern may differ by 3 dB near the beam and by 10 dB off it.

    Examples
    --------
    >>> [round(float(g), 1) for g in beam_gain_dbi([0.0, 20.0, 180.0])]
    [17.0, 14.0, -1.0]
    """
    arrays = {
        "off_beam_deg": as_float64("off_beam_deg", off_beam_deg),
        "peak_dbi": as_float64("peak_dbi", peak_dbi),
        "width_deg": as_float64("width_deg", width_deg),
        "floor_db": as_float64("floor_db", floor_db),
    }
    check_range("width_deg", arrays["width_deg"], 1.0, 360.0)
    check_range("floor_db", arrays["floor_db"], 0.0, 60.0)
    shape = broadcast_shape(**arrays)
    return restore(_core.reception.beam_gain_dbi(*flatten(shape, *arrays.values())), shape)
