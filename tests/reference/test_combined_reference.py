"""The combined long-path method: worked values, and beside the rays.

Source of the worked values: an independent Python run of the same equations (Recommendation ITU-R
P.533 section 5.3, from memory); the structure is checked by its zeros.
"""

import math

import numpy as np
import pytest

import farhear as fh
from farhear import combined

# 250 kW, 17 dBi, 12,000 km, fM 22, fL 6, fH 1.2 MHz, constant -34.8: worked field by frequency
WORKED = [(6.0, 0.0, 9.15), (9.6, 0.3969, 32.07), (15.0, 0.3751, 30.81), (21.0, 0.0688, 13.12)]


@pytest.mark.parametrize(("freq_mhz", "share", "field_dbuv_m"), WORKED)
def test_worked_field(freq_mhz: float, share: float, field_dbuv_m: float) -> None:
    assert combined.bracket(freq_mhz, 22.0, 6.0, 1.2) == pytest.approx(share, abs=6e-5)
    hops = 3
    slant_km = hops * combined._hop(12000.0 / hops)[1]
    assert slant_km == pytest.approx(12360.685, abs=1e-3)
    angle = 12000.0 / 6371.0
    gap = 10 * math.log10(angle / abs(math.sin(angle)))
    assert gap == pytest.approx(2.9657, abs=1e-4)
    level = (139.6 - 20 * math.log10(slant_km)) * combined.bracket(freq_mhz, 22.0, 6.0, 1.2)
    field = level + combined.CONSTANTS_DB["self-consistent"] + 10 * math.log10(250) + 17 + gap
    assert field == pytest.approx(field_dbuv_m, abs=0.01)


def test_nothing_at_the_reference_frequencies_and_more_between() -> None:
    for freq in (6.0, 22.0):
        assert combined.bracket(freq, 22.0, 6.0, 1.2) == pytest.approx(0.0, abs=1e-12)
    assert combined.bracket(12.0, 22.0, 6.0, 1.2) > 0.3


def test_the_three_constants_lie_5_db_apart() -> None:
    # -34.8, -32.7 and -29.8 dB: sums of the remembered pairs, by hand
    assert pytest.approx(5.0, abs=0.05) == combined.SPREAD_DB


def test_blend_runs_from_one_method_to_the_other() -> None:
    worked = {7000.0: 30.0, 8000.0: 27.1035, 9000.0: 24.0}
    for distance, field in worked.items():
        assert combined.blend_dbuv_m(distance, 30.0, 24.0) == pytest.approx(field, abs=1e-4)


def test_beside_the_rays() -> None:
    """Five circuits, six hours, three bands: rank correlation, and the median difference.

    Measured: 0.77 and +9.3 dB (combined less rays), 10th to 90th percentile -8 to +38 dB; where
    the rays give more than 10 dB(uV/m), +6.4 dB and -11 to +14 dB. The rays go down faster above
    the MUF; listeners' rules of thumb about the high bands by night side with them.
    """
    circuits = [
        (-13.9, 29.2, 58.4, 26.7),
        (38.2, -88.4, 58.4, 26.7),
        (-35.0, 150.0, 20.0, 80.0),
        (10.0, -60.0, 50.0, 10.0),
        (35.0, 135.0, -20.0, 30.0),
    ]
    hours = [f"2024-03-15T{h:02}:30Z" for h in range(0, 24, 4)]
    ours, theirs = [], []
    for circuit in circuits:
        for freq in (9600.0, 13700.0, 17700.0):
            for utc in hours:
                x = combined.field_dbuv_m(*circuit, freq, utc, power_kw=250.0, f107_sfu=150.0)
                y = fh.reception.likelihood(
                    *circuit, freq, utc, power_kw=250.0, f107_sfu=150.0, long_path="short"
                )
                ours.append(float(y["field_dbuv_m"]))
                theirs.append(x.field_dbuv_m)
    ranks = [np.argsort(np.argsort(v)) for v in (ours, theirs)]
    assert np.corrcoef(*ranks)[0, 1] > 0.7
    assert abs(np.median(np.array(theirs) - np.array(ours))) < 12.0


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"rx": (40.0, 20.0)}, "7000 km"),
        ({"constant": "third"}, "constant"),
        ({"freq_khz": 9.6}, "freq_khz"),
        ({"utc": ["2024-03-15T00:30Z", "2024-03-15T01:30Z"]}, "one instant"),
        ({"power_kw": 0.0}, "power_kw"),
    ],
)
def test_bad_values_are_named(changes: dict[str, object], text: str) -> None:
    given: dict[str, object] = {"power_kw": 250.0, "f107_sfu": 150.0}
    rx = changes.pop("rx", (58.4, 26.7))
    freq = changes.pop("freq_khz", 9600.0)
    utc = changes.pop("utc", "2024-03-15T00:30Z")
    with pytest.raises(fh.InputError, match=text):
        combined.field_dbuv_m(-13.9, 29.2, *rx, freq, utc, **{**given, **changes})  # type: ignore[misc,arg-type]
