"""Pictures of one circuit: what is drawn, against formulas and general libraries.

All sites and homes here are invented.
"""

import math
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from colorspacious import cspace_convert
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from scipy.integrate import solve_ivp

import farhear as fh
from farhear import rays as tracing
from farhear import reception, skywave
from farhear.charts import _style, circuits

sys.path.insert(0, str(Path(__file__).parent))
from _contrast import contrast, text_contrasts

WHEN = "2024-12-15T17:00Z"
FAR = (-13.9, 29.2, 58.5, 27.0, 9600.0, WHEN)
NEAR = (52.7, 0.9, 58.5, 27.0, 9600.0, "2025-06-15T10:00Z")
DATELINE = (-17.6, -65.4, -5.5, 143.0, 11700.0, "2025-03-20T09:00Z")
ANTIPODE = (-58.5, -153.0, 58.5, 27.0, 9600.0, "2024-12-15T12:00Z")
LAYERS = tracing.Layers(3.2, 8.0, 300.0, 100.0)
TITLE = "Zambelu to cell KO38, 9600 kHz"


@pytest.fixture(scope="module")
def why() -> reception.Explanation:
    return reception.explain(*FAR, f107_sfu=150.0, power_kw=100.0, tx_gain_dbi=15.0)


@pytest.fixture(scope="module")
def weak() -> reception.Explanation:
    circuit = (45.0, 25.0, 58.5, 27.0, 2400.0, "2025-06-15T10:00Z")
    return reception.explain(*circuit, f107_sfu=120.0, power_kw=10.0)


def picture(circuit: tuple[float, float, float, float, float, str]) -> circuits.RayPicture:
    modes = skywave.modes(*circuit, f107_sfu=150.0, power_kw=100.0)
    return circuits.rays_of(*circuit, modes, f107_sfu=150.0, title=TITLE)


# Loss budget ------------------------------------------------------------------------------------


@pytest.mark.parametrize("which", ["why", "weak"])
def test_each_bar_starts_where_the_last_one_ended(
    which: str, request: pytest.FixtureRequest
) -> None:
    found: reception.Explanation = request.getfixturevalue(which)
    table = circuits.loss_budget_data(found)
    level = 0.0
    for row in table.to_dict("records"):
        if row["kind"] in ("gain", "loss"):
            assert row["from_db"] == pytest.approx(level, abs=0.051)
            assert row["to_db"] - row["from_db"] == pytest.approx(row["db"], abs=0.11)
            level = row["to_db"]
        elif row["kind"] == "total":
            # the budget's rows are rounded to 0.1 dB each: a dozen of them may be 0.6 off
            assert row["to_db"] == pytest.approx(level, abs=0.6)
            level = row["to_db"]
    ends = table.set_index("item")
    assert ends.loc["margin", "to_db"] == ends.loc["S/N", "db"]
    assert ends.loc["margin", "from_db"] == pytest.approx(ends.loc["required S/N", "db"], abs=0.11)


def test_the_merged_bars_against_formulas(why: reception.Explanation) -> None:
    table = circuits.loss_budget_data(why).set_index("item")
    # Recommendation ITU-R P.525: e = sqrt(30 p) / d, here 1 kW over the way of the ray, in uV/m.
    km = float(table.loc["field of 1 kW", "note"].split()[1])
    expected_db = 20.0 * math.log10(math.sqrt(30.0 * 1000.0) / (1000.0 * km) * 1e6)
    assert table.loc["field of 1 kW", "db"] == pytest.approx(expected_db, abs=0.1)
    # Recommendation ITU-R P.372: En = Fa + 20 log f + B - 96.8 for an isotropic antenna (constant
    # from memory).
    seen = reception.likelihood(*FAR, f107_sfu=150.0, power_kw=100.0, tx_gain_dbi=15.0)
    noise_db = float(seen["noise_fa_db"]) + 20.0 * math.log10(9.6) + 10.0 * math.log10(9000.0)
    assert table.loc["noise level", "db"] == pytest.approx(96.8 - noise_db, abs=0.15)
    gone = {"to power", "distance", "field of 1 kW at 1 km", "screening", "support"}
    assert not gone & set(table.index)


def test_bars_labels_and_the_required_line(why: reception.Explanation) -> None:
    axis = circuits.loss_budget(why, title=TITLE)
    table = circuits.loss_budget_data(why)
    assert len(axis.patches) == len(table)
    for bar, row in zip(axis.patches, table.to_dict("records"), strict=True):
        ends = sorted([bar.get_x(), bar.get_x() + bar.get_width()])
        assert ends == pytest.approx(sorted([row["from_db"], row["to_db"]]))
        assert bool(bar.get_hatch()) == (row["kind"] == "loss")
    labels = [label.get_text() for label in axis.get_yticklabels()]
    assert labels == list(table["item"])
    numbers = [text.get_text() for text in axis.texts if text.get_text().endswith(" dB")]
    assert numbers[:2] == ["+20.0 dB", "+15.0 dB"]
    assert len(numbers) == len(table)
    required = [line for line in axis.lines if line.get_color() == _style.WAY]
    assert [set(line.get_xdata()) for line in required] == [{17.0}]
    assert axis.get_title(loc="left") == f"Loss budget: {TITLE}"
    notes = " ".join(text.get_text() for text in axis.texts)
    assert "0 dB, not drawn: horizon, support, screening" in notes
    assert axis.get_figure().get_size_inches() == pytest.approx(_style.A5_IN)
    low, high = axis.get_xlim()
    assert low < 0.0
    assert high > table["to_db"].max()


def test_words_of_the_budget(why: reception.Explanation, weak: reception.Explanation) -> None:
    words = circuits.loss_budget_alt(why, title=TITLE)
    assert words.startswith(f"Loss budget of {TITLE} in 15 bars: from +20 dB above 1 kW")
    assert "10 dB above the required 17 dB" in words
    assert "109 dB below the required 17 dB" in circuits.loss_budget_alt(weak)
    assert "screening -60 dB" in circuits.loss_budget_alt(weak)


@pytest.mark.parametrize("level", [None, -np.inf, np.nan])
def test_a_budget_without_any_mode(why: reception.Explanation, level: float | None) -> None:
    budget = why.budget.iloc[:0]
    if level is not None:
        late = why.budget["item"].isin(["other modes and days", "field", "S/N", "margin"])
        budget = why.budget.assign(db=why.budget["db"].where(~late, level))
    none = why._replace(budget=budget)
    axis = circuits.loss_budget(none)
    assert "no mode carries this circuit: nothing to add up" in [t.get_text() for t in axis.texts]
    assert not axis.patches
    assert "no mode carries this circuit" in circuits.loss_budget_alt(none)


# Rays -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("freq_mhz", "elevation_deg"), [(15.0, 10.0), (7.0, 25.0), (5.0, 80.0)])
def test_a_ray_solves_the_eikonal_equation(freq_mhz: float, elevation_deg: float) -> None:
    """Against scipy's integrator on d/ds (n dr/ds) = grad n, in Cartesian coordinates."""
    range_km, height_km = circuits.ray_half(LAYERS, freq_mhz, elevation_deg)

    def index(height: float) -> float:
        return math.sqrt(1.0 - float(tracing.plasma_mhz2(LAYERS, max(height, 0.0))) / freq_mhz**2)

    def slope(_s: float, y: np.ndarray) -> list[float]:
        r = math.hypot(y[0], y[1])
        height = r - 6371.0
        n = index(height)
        steep = (index(height + 0.01) - index(height - 0.01)) / 0.02
        return [y[2] / n, y[3] / n, steep * y[0] / r, steep * y[1] / r]

    def turns(_s: float, y: np.ndarray) -> float:
        return float(y[0] * y[2] + y[1] * y[3])

    turns.terminal = True  # type: ignore[attr-defined]
    turns.direction = -1.0  # type: ignore[attr-defined]
    angle = math.radians(elevation_deg)
    start = [0.0, 6371.0, math.cos(angle), math.sin(angle)]
    found = solve_ivp(slope, (0.0, 5000.0), start, events=turns, rtol=1e-8, max_step=5.0)
    x, y = found.y[:2]
    along, up = 6371.0 * np.arctan2(x, y), np.hypot(x, y) - 6371.0
    assert along[-1] == pytest.approx(range_km[-1], abs=0.5)
    assert up[-1] == pytest.approx(height_km[-1], abs=0.1)
    np.testing.assert_allclose(np.interp(range_km, along, up), height_km, atol=0.3)


def test_the_landing_ray_lands() -> None:
    for hop_km, is_high in ((1500.0, False), (2500.0, False), (2500.0, True)):
        elevation = circuits.landing_elevation_deg(LAYERS, 15.0, hop_km, 2, is_high)
        assert elevation is not None
        # Source: rays.trace, which its own tests hold against quadrature.
        landed = tracing.trace(LAYERS, 15.0, elevation)
        assert landed.ground_range_km == pytest.approx(hop_km, abs=1.0)
    assert circuits.landing_elevation_deg(LAYERS, 25.0, 1000.0, 2, False) is None
    both = [circuits.landing_elevation_deg(LAYERS, 15.0, 2500.0, 2, high) for high in (0, 1)]
    assert both[0] < both[1]


def test_a_straight_leg_is_straight_on_the_round_earth() -> None:
    range_km, height_km = circuits._straight(900.0, 105.0)
    r, angle = 6371.0 + height_km, range_km / 6371.0
    x, y = r * np.sin(angle), r * np.cos(angle)
    area = x[1:-1] * (y[-1] - y[0]) - (y[1:-1] - y[0]) * x[-1]  # plane geometry
    np.testing.assert_allclose(area, 0.0, atol=1e-6)
    assert (range_km[-1], height_km[-1]) == pytest.approx((900.0, 105.0))


@pytest.mark.parametrize("circuit", [FAR, NEAR, DATELINE])
def test_hops_run_from_the_transmitter_to_home(
    circuit: tuple[float, float, float, float, float, str],
) -> None:
    drawn = picture(circuit)
    assert 1 <= len(drawn.modes) <= 3
    for mode in drawn.modes.to_dict("records"):
        part = drawn.points[drawn.points["mode"] == mode["mode"]]
        assert part["hop"].nunique() == mode["hops"]
        assert part["range_km"].iloc[0] == 0.0
        assert part["range_km"].iloc[-1] == pytest.approx(drawn.distance_km)
        assert (np.diff(part["range_km"]) >= -1e-9).all()
        ends = part.groupby("hop")["height_km"].agg(["first", "last", "max"])
        np.testing.assert_allclose(ends[["first", "last"]], 0.0, atol=1e-6)
        low, high = {"E": (90, 110.1), "Es": (104, 106)}.get(mode["layer"], (110, 700))
        assert ends["max"].between(low, high).all()


def test_rays_leave_about_as_the_modes_say() -> None:
    """Own model against itself by another way: the ray is followed step by step."""
    modes = skywave.modes(*FAR, f107_sfu=150.0)
    first = modes.iloc[0]
    hops = int(first["hops"])
    middle = fh.path.points(*FAR[:4], (np.arange(hops) + 0.5) / hops)
    layers = fh.ionosphere.median_layers(WHEN, middle.lat_deg, middle.lon_deg, 150.0)
    hop_km = float(fh.path.sphere(*FAR[:4]).distance_km) / hops
    found = []
    for hop in range(hops):
        one = tracing.Layers(*(np.broadcast_to(part, hops)[hop] for part in layers))
        found.append(circuits.landing_elevation_deg(one, 9.6, hop_km, 2, False))
    assert np.mean(found) == pytest.approx(first["elevation_deg"], abs=2.5)


def test_artists_of_the_rays() -> None:
    drawn = picture(NEAR)
    axis = circuits.rays(drawn)
    assert axis.get_xlim() == (0.0, drawn.distance_km)
    assert axis.get_ylim() == (0.0, drawn.height_km[-1])
    assert drawn.layers["hmf2_km"].max() < drawn.height_km[-1]
    legend = [text.get_text() for text in axis.get_legend().get_texts()]
    assert [text.split(":")[0] for text in legend] == list(drawn.modes["mode"])
    texts = [text.get_text() for text in axis.texts]
    assert {"transmitter", "home", "E peak", "F1 peak", "F2 peak"} <= set(texts)
    assert any("ground is drawn straight" in text for text in texts)
    assert axis.get_title(loc="left") == f"Rays: {TITLE}"
    assert axis.get_xlabel() == "way on the ground, km"
    assert len(axis.collections) == 1  # the shade
    shown = axis.collections[0].get_array()
    np.testing.assert_allclose(np.nanmax(shown), drawn.layers["fof2_mhz"].max(), rtol=0.02)


def test_night_has_no_f1_layer() -> None:
    table = circuits.rays_data(picture(FAR))
    assert "F1 peak" not in set(table["part"])
    assert {"E peak", "F2 peak"} < set(table["part"])
    assert "F1 peak" not in [text.get_text() for text in circuits.rays(picture(FAR)).texts]


def test_table_and_words_of_the_rays() -> None:
    drawn = picture(NEAR)
    table = circuits.rays_data(drawn)
    columns = ["part", "hop", "carried", "range_km", "height_km", "critical_mhz"]
    assert list(table) == columns
    assert table[columns[:-1]].notna().all().all()
    peaks = table[table["hop"] == 0]
    assert peaks["critical_mhz"].notna().all()
    words = circuits.rays_alt(drawn)
    assert words.startswith(f"Rays of {TITLE} over 1,748 km of ground: ")
    for name in drawn.modes["mode"]:
        assert f"{name} turns at" in words


def test_a_hop_that_is_not_carried_is_thin() -> None:
    modes = skywave.modes(*NEAR, f107_sfu=60.0).assign(layer="F2", hops=1)[:1]
    high = (*NEAR[:4], 29000.0, NEAR[5])
    drawn = circuits.rays_of(*high, modes, f107_sfu=60.0)
    assert not drawn.points["carried"].any()
    axis = circuits.rays(drawn)
    assert any("no ray lands there" in text.get_text() for text in axis.texts)
    assert "not carried on the median day" in circuits.rays_alt(drawn)
    legs = [
        line for line in axis.lines if line.get_label() == axis.get_legend_handles_labels()[1][0]
    ]
    assert legs[0].get_linewidth() < 1.0


def test_a_circuit_without_any_mode() -> None:
    modes = skywave.modes(*FAR, f107_sfu=150.0).iloc[:0]
    drawn = circuits.rays_of(*FAR, modes, f107_sfu=150.0)
    axis = circuits.rays(drawn)
    assert "no mode carries this circuit" in [text.get_text() for text in axis.texts]
    assert "no mode carries this circuit" in circuits.rays_alt(drawn)
    assert set(circuits.rays_data(drawn)["part"]) == {"E peak", "F2 peak"}


@pytest.mark.parametrize(
    "circuit",
    [
        ANTIPODE,
        (58.5, 27.0, 58.5, 27.0, 9600.0, WHEN),  # home itself
        (90.0, 0.0, 58.5, 27.0, 9600.0, WHEN),  # from the pole, polar night
        (58.4, 26.9, 58.5, 27.0, 6000.0, "2025-06-15T10:00Z"),  # straight up
    ],
)
def test_odd_circuits(circuit: tuple[float, float, float, float, float, str]) -> None:
    drawn = picture(circuit)
    axis = circuits.rays(drawn)
    assert len(circuits.rays_data(drawn)) > 0
    assert circuits.rays_alt(drawn)
    axis.get_figure().canvas.draw()


def test_the_long_way_round() -> None:
    modes = skywave.modes(*FAR, f107_sfu=150.0, long_path="long")
    drawn = circuits.rays_of(*FAR, modes, f107_sfu=150.0)
    short_km = float(fh.path.sphere(*FAR[:4]).distance_km)
    assert drawn.distance_km == pytest.approx(2.0 * math.pi * 6371.0 - short_km)


@pytest.mark.parametrize(("name", "value"), [("most", 4), ("within_db", -1.0)])
def test_numbers_out_of_range(name: str, value: float) -> None:
    modes = skywave.modes(*FAR, f107_sfu=150.0)
    with pytest.raises(fh.InputError, match=name):
        circuits.rays_of(*FAR, modes, f107_sfu=150.0, **{name: value})


def test_tables_and_times_that_do_not_fit() -> None:
    with pytest.raises(fh.InputError, match="field_dbuv_m"):
        circuits.rays_of(*FAR, pd.DataFrame({"layer": [], "hops": [], "long_path": []}), f107_sfu=1)
    with pytest.raises(fh.InputError, match="one instant"):
        circuits.rays_of(*FAR[:5], [WHEN, WHEN], pd.DataFrame(), f107_sfu=150.0)


# Reading it -------------------------------------------------------------------------------------


PICTURES: list[Callable[[reception.Explanation], Axes]] = [
    lambda why: circuits.loss_budget(why, title=TITLE),
    lambda _: circuits.rays(picture(NEAR)),
    lambda _: circuits.rays(picture(FAR)),
]


@pytest.mark.parametrize("draw", PICTURES)
def test_text_can_be_read(
    draw: Callable[[reception.Explanation], Axes], why: reception.Explanation
) -> None:
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1."""
    for text, ratio in text_contrasts(draw(why)).items():
        assert ratio >= 4.5, text


# Machado, Oliveira and Fernandes, IEEE TVCG 15(6), 2009, as the library colorspacious has it.
EYES = [
    "sRGB1",
    {"name": "sRGB1+CVD", "cvd_type": "deuteranomaly", "severity": 100},
    {"name": "sRGB1+CVD", "cvd_type": "protanomaly", "severity": 100},
]


@pytest.mark.parametrize("eye", EYES)
def test_lines_and_bars_differ_in_lightness(eye: object) -> None:
    bars = (_style.TOTAL, _style.GAIN, _style.LOSS)
    for colours, least in ((_style.SERIES, 20.0), (bars, 25.0)):
        rgb = np.array([to_rgb(one) for one in colours])
        lightness = np.sort(np.asarray(cspace_convert(rgb, eye, "CIELab"))[:, 0])
        assert np.diff(lightness).min() >= least
    for colour in _style.SERIES:
        # WCAG 2.2, success criterion 1.4.11: 3 to 1 against the white edge of each line
        assert contrast(np.array(to_rgb(colour)), np.ones(3)) >= 3.0


def test_lines_differ_in_dash_and_mark_as_well() -> None:
    for looks in (_style.DASHES, _style.MARKS, _style.SERIES):
        assert len({str(one) for one in looks}) == 3


def test_axes_of_the_caller_are_used(why: reception.Explanation) -> None:
    figure = Figure(figsize=(10, 5))
    left, right = figure.subplots(1, 2)
    assert circuits.loss_budget(why, ax=left) is left
    assert circuits.rays(picture(NEAR), ax=right) is right
