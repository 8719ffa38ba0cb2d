"""The sun against published examples, the DE421 ephemeris (skyfield) and NREL's SPA (pvlib)."""

import datetime as dt

import numpy as np
import pandas as pd
import pvlib
import pytest
from skyfield import almanac
from skyfield.api import Loader, wgs84
from skyfield_data import get_skyfield_data_path

from farhear import _core, sun, utc
from farhear.times import UtcTimes

# skyfield-data warns when its tables of the Earth's rotation grow old; DE421 does not age
pytestmark = pytest.mark.filterwarnings("ignore:The file .* has expired:RuntimeWarning")

ALLOWED_DEG = 0.02  # the promise of the header for 1990-2035


@pytest.fixture(scope="module")
def sky():
    load = Loader(get_skyfield_data_path(), verbose=False)
    ephemeris = load("de421.bsp")
    yield ephemeris, load.timescale(builtin=True)
    ephemeris.close()


def wrapped_deg(difference_deg):
    return (np.asarray(difference_deg) + 180.0) % 360.0 - 180.0


def random_points(n, first_year, last_year, seed):
    rng = np.random.default_rng(seed)
    t0, t1 = (dt.datetime(y, 1, 1, tzinfo=dt.UTC).timestamp() for y in (first_year, last_year))
    t = rng.uniform(t0, t1, n)
    lat = np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, n)))
    return t, lat, rng.uniform(-180.0, 180.0, n)


def skyfield_position(sky, t_unix_s, lat_deg, lon_deg):
    """Topocentric apparent zenith angle and azimuth without refraction, pair by pair."""
    eph, ts = sky
    t = ts.from_datetimes([dt.datetime.fromtimestamp(s, dt.UTC) for s in t_unix_s])
    place = wgs84.latlon(lat_deg, lon_deg)
    alt, az, _ = (eph["earth"] + place).at(t).observe(eph["sun"]).apparent().altaz()
    return 90.0 - alt.degrees, az.degrees


def pvlib_position(t_unix_s, lat_deg, lon_deg):
    """NREL SPA, zenith angle without refraction, azimuth, pair by pair."""
    year = pd.DatetimeIndex(pd.to_datetime(t_unix_s, unit="s")).year.to_numpy()
    delta_t = pvlib.spa.calculate_deltat(year, 6)
    _, zenith, _, _, azimuth, _ = pvlib.spa.solar_position_numpy(
        t_unix_s, lat_deg, lon_deg, 0.0, 1013.25, 12.0, delta_t, 0.5667, 1
    )
    return zenith, azimuth


def test_nrel_worked_example():
    # Reda & Andreas, NREL/TP-560-34302 (rev. 2008), Table A5.1: 2003-10-17 12:30:30 UTC-7,
    # 39.742476 N 105.1786 W: azimuth 194.34024 deg. Zenith without refraction 50.127954 is a run
    # of pvlib's SPA on the example (the table prints it with refraction, 50.11162).
    here = sun.position("2003-10-17T19:30:30Z", 39.742476, -105.1786)
    assert here.zenith_deg == pytest.approx(50.127954, abs=ALLOWED_DEG)
    assert here.azimuth_deg == pytest.approx(194.34024, abs=ALLOWED_DEG)


def test_nrel_worked_example_rise_and_set():
    # Same table: sunrise 13:12:43, sunset 00:20:19. Both belong to the UTC day of 17 October, so
    # the set is the evening of the 16th at the place (at UTC-7 the 17th's is 88 s earlier, at
    # 00:18:51 UTC of the 18th). Allowed: 0.02 deg at 15 deg/h times cos(lat), 6.3 s, and rounding.
    day = sun.events("2003-10-17", 39.742476, -105.1786, None)
    assert abs(day.rise_utc.unix_s - utc("2003-10-17T13:12:43Z").unix_s) < 7.0
    assert abs(day.set_utc.unix_s - utc("2003-10-17T00:20:19Z").unix_s) < 7.0


def test_meeus_example_25a():
    # J. Meeus, Astronomical Algorithms, 2nd ed., example 25.a: 1992-10-13 0 h TD (JDE 2448908.5):
    # right ascension 198.38083 deg, declination -7.78507 deg. The example's argument is terrestrial
    # time; ours is UTC taken as such, so the same number goes in. RA = sidereal time - hour angle;
    # sidereal time at 0 h by Meeus's (12.4), for the same number taken as UT. The tolerance is the
    # example's own rounding, plus the constants of the apparent place (0.00002 deg).
    t = utc("1992-10-13T00:00Z").unix_s
    gmst_deg = 280.46061837 + 360.98564736629 * (2448908.5 - 2451545.0)
    declination, hour_angle = _core.sun.subsolar(t.reshape(1))
    assert np.degrees(declination[0]) == pytest.approx(-7.78507, abs=3e-5)
    assert wrapped_deg(gmst_deg - np.degrees(hour_angle[0]) - 198.38083) == pytest.approx(
        0.0, abs=3e-5
    )


@pytest.mark.parametrize(
    ("height_km", "screening_km", "expected_deg"),
    # Own evaluation in another program of 90 + acos((6371 + hs) / (6371 + h)), four decimals.
    [
        (80, 0, 99.0327),
        (110, 0, 100.5713),
        (200, 0, 104.1724),
        (300, 0, 107.2482),
        (80, 35, 96.7715),
        (110, 35, 98.7250),
        (200, 35, 102.8670),
        (300, 35, 106.2037),
    ],
)
def test_zenith_at_height(height_km, screening_km, expected_deg):
    assert sun.zenith_at_height(height_km, screening_km) == pytest.approx(expected_deg, abs=6e-5)


def test_crossings_of_an_equinox_morning(sky):
    # 2025-03-20, 50 N 10 E. Hours from another program of the same formula (bisection), four
    # decimals; the ephemeris (below) is the outside witness of the same crossings.
    zenith = [90.833, 96.0, 100.5713, 107.2482]
    day = sun.events("2025-03-20", 50.0, 10.0, None, zenith_deg=zenith)
    hours = (day.rise_utc.unix_s - utc("2025-03-20T00:00Z").unix_s) / 3600.0
    np.testing.assert_allclose(hours, [5.3760, 4.8393, 4.3586, 3.6345], atol=2e-4)
    for t, z in zip(day.rise_utc.unix_s, zenith, strict=True):
        assert skyfield_position(sky, [t], 50.0, 10.0)[0][0] == pytest.approx(z, abs=ALLOWED_DEG)


@pytest.fixture(scope="module")
def compared(sky):
    """Ours, the ephemeris and SPA at 2,000 random points of 1990-2035."""
    t, lat, lon = random_points(2000, 1990, 2036, seed=20261125)
    ours = sun.position(UtcTimes(t), lat, lon)
    theirs = skyfield_position(sky, t, lat, lon)
    spa = pvlib_position(t, lat, lon)
    return ours, theirs, spa


@pytest.mark.parametrize("which", [1, 2], ids=["DE421", "SPA"])
def test_zenith_of_random_points(compared, which):
    difference_deg = compared[0].zenith_deg - compared[which][0]
    print(
        f"zenith: rms {np.sqrt(np.mean(difference_deg**2)):.5f}, "
        f"max {np.abs(difference_deg).max():.5f} deg"
    )
    assert np.abs(difference_deg).max() <= ALLOWED_DEG


@pytest.mark.parametrize("which", [1, 2], ids=["DE421", "SPA"])
def test_azimuth_of_random_points(compared, which):
    # An azimuth error grows as 1 / sin(zenith), so the promise is for the angle on the sky:
    # difference * sin(zenith), left out within 1 deg of zenith and nadir, where the azimuth is
    # worth little; and the plain difference for zenith angles of 45 to 135 deg.
    zenith = compared[which][0]
    difference_deg = np.abs(wrapped_deg(compared[0].azimuth_deg - compared[which][1]))
    on_sky = difference_deg * np.sin(np.radians(zenith))
    clear = (zenith > 1.0) & (zenith < 179.0)
    print(f"azimuth on the sky: max {on_sky[clear].max():.5f}; plain: {difference_deg.max():.5f}")
    assert on_sky[clear].max() <= ALLOWED_DEG
    assert difference_deg[(zenith > 45.0) & (zenith < 135.0)].max() <= ALLOWED_DEG


@pytest.mark.parametrize(("year", "allowed_deg"), [(1900, 0.02), (2100, 0.02)])
def test_far_years_against_spa(year, allowed_deg):
    t, lat, lon = random_points(2000, year, year + 1, seed=year)
    ours = sun.position(UtcTimes(t), lat, lon).zenith_deg
    theirs, _ = pvlib_position(t, lat, lon)
    print(
        f"{year}: rms {np.sqrt(np.mean((ours - theirs) ** 2)):.5f}, "
        f"max {np.abs(ours - theirs).max():.5f} deg"
    )
    assert np.abs(ours - theirs).max() <= allowed_deg


def almanac_events(sky, lat_deg, lon_deg, t0_unix_s, t1_unix_s):
    """First rise and set in the window by skyfield's search, altitude -0.833 deg without air."""
    eph, ts = sky
    observer = eph["earth"] + wgs84.latlon(lat_deg, lon_deg)
    a, b = (ts.from_datetime(dt.datetime.fromtimestamp(t, dt.UTC)) for t in (t0_unix_s, t1_unix_s))
    found = []
    for search in (almanac.find_risings, almanac.find_settings):
        times, happens = search(observer, eph["sun"], a, b, horizon_degrees=-0.833)
        instants = [
            t.utc_datetime().timestamp() for t, yes in zip(times, happens, strict=True) if yes
        ]
        found.append(min(instants, default=np.nan))
    return found


def test_rise_and_set_against_almanac(sky):
    # skyfield's almanac with DE421, 200 days and places below 60 deg, 400 events within 60 s.
    rng = np.random.default_rng(7)
    days = rng.integers(7305, 24106, 200)  # 1990-2035, days since 1970
    lat, lon = rng.uniform(-60.0, 60.0, 200), rng.uniform(-180.0, 180.0, 200)
    ours = sun.events(days.astype("datetime64[D]"), lat, lon, None)
    assert (ours.state == "happens").all()
    worst = []
    for i, day in enumerate(days):
        rise, fall = almanac_events(sky, lat[i], lon[i], day * 86400.0, (day + 1) * 86400.0)
        for mine, theirs in ((ours.rise_utc, rise), (ours.set_utc, fall)):
            worst.append(abs(mine.unix_s[i] - theirs))
    # an event within seconds of midnight may fall into different days: both must then be there
    assert np.isfinite(worst).sum() >= 398
    print(f"rise and set: median {np.nanmedian(worst):.2f} s, max {np.nanmax(worst):.2f} s")
    assert np.nanmax(worst) <= 60.0


@pytest.mark.parametrize("lat_deg", [70.0, 75.0, 80.0, -70.0, -78.0])
def test_polar_states_against_ephemeris(sky, lat_deg):
    # Every third day of 2025: the state by the ephemeris is that of its altitude sampled each
    # 10 min through the day. Days on which the extreme altitude comes within 0.03 deg of -0.833
    # (the error of formula plus sampling) may go either way and are counted: they are rare.
    days = np.arange(np.datetime64("2025-01-01"), np.datetime64("2026-01-01"), 3)
    t0 = days.astype(np.int64) * 86400.0
    ours = sun.events(days, lat_deg, 15.0, None)
    t = t0[:, None] + np.arange(0.0, 86400.0, 600.0)
    zenith, _ = skyfield_position(sky, t.ravel(), lat_deg, 15.0)
    height = 90.833 - zenith.reshape(t.shape)
    expected = np.where(
        height.min(axis=1) > 0.0,
        "always above",
        np.where(height.max(axis=1) < 0.0, "always below", "happens"),
    )
    doubtful = (np.abs(height.min(axis=1)) < 0.03) | (np.abs(height.max(axis=1)) < 0.03)
    assert doubtful.sum() <= 6
    assert set(expected) == {"always above", "always below", "happens"}
    np.testing.assert_array_equal(ours.state[~doubtful], expected[~doubtful])
    # a rise and a set each where the ephemeris crosses
    rises = ((height[:, :-1] < 0.0) & (height[:, 1:] >= 0.0)).any(axis=1)
    falls = ((height[:, :-1] >= 0.0) & (height[:, 1:] < 0.0)).any(axis=1)
    edge = (np.abs(height[:, 0]) < 0.1) | (np.abs(height[:, -1]) < 0.1)
    sure = ~doubtful & ~edge
    np.testing.assert_array_equal(np.isfinite(ours.rise_utc.unix_s)[sure], rises[sure])
    np.testing.assert_array_equal(np.isfinite(ours.set_utc.unix_s)[sure], falls[sure])


def test_terminator_against_ephemeris(sky):
    # The sun stands at 90.833 and, at 110 km, at 100.5713 deg everywhere on the line.
    for height_km, zenith_deg in ((0.0, 90.833), (110.0, 100.5713)):
        line = sun.terminator("2026-11-25T15:00Z", height_km, points=13)
        t = [utc("2026-11-25T15:00Z").unix_s.item()]
        for lat, lon in zip(line.lat_deg, line.lon_deg, strict=True):
            found = skyfield_position(sky, t, lat, lon)[0][0]
            assert found == pytest.approx(zenith_deg, abs=ALLOWED_DEG)
