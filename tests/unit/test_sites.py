"""Sites: places that a schedule lacks, second names, several beams. All sites are invented."""

import numpy as np
import pandas as pd
import pytest

from farhear.errors import InputError
from farhear.schedule import read_schedule
from farhear.season import broadcast_geometry
from farhear.sites import read_sites
from farhear.station import Station

SITES = (
    "site,tx_lat_deg,tx_lon_deg,same_as\n"
    "Harvask,60.5,22.25,\n"
    "Pelmarque,-3.5,19.25,\n"
    "HVK,,,harvask\n"
    "Old Mast,,,HVK\n"
)
HEADER = "freq_khz,start_utc,stop_utc,days,broadcaster,site,tx_lat_deg,tx_lon_deg,power_kw"


@pytest.fixture
def file(tmp_path):
    def make(content, name="sites.csv"):
        path = tmp_path / name
        path.write_text(content, encoding="utf-8")
        return path

    return make


@pytest.fixture
def listed(file):
    def make(*places, header=HEADER, more=""):
        lines = [f"9505,1800,1900,daily,Radio Belmorant,{place},100{more}" for place in places]
        return file("\n".join([header, *lines]) + "\n", "list.csv")

    return make


def reasons(table):
    return {(r.row, r.column, r.value): r.reason for r in table.itertuples()}


# The table of sites -----------------------------------------------------------------------------


def test_second_names_have_the_place_of_the_first(file):
    sites = read_sites(file(SITES))
    assert sites.rows_read == len(sites) == 4
    assert sites.warnings.empty
    plain = pd.read_csv(file(SITES)).set_index("site")  # outside: pandas
    for name, first in (("Harvask", "Harvask"), ("HVK", "Harvask"), ("Old Mast", "Harvask")):
        want = tuple(plain.loc[first, ["tx_lat_deg", "tx_lon_deg"]])
        for spelled in (name, name.upper(), f"  {name.lower()} ", name.replace(" ", "   ")):
            assert sites.place(spelled) == want
    assert sites.place("Harvas") is None
    assert sites.frame["tx_lat_deg"].tolist() == [60.5, -3.5, 60.5, 60.5]


def test_rows_that_lead_nowhere_are_refused(file):
    rows = (
        "A,,,B\nB,,,C\nC,,,A\n"  # 2 to 4: a circle
        "D,,,B\n"  # into the circle
        "E,,,e\n"  # itself
        "F,,,Harvest\n"
        "G,,,F\n"
        "Harvask,60.5,22.25,\n"
        "HARVASK,1,2,\n"  # 10
        "H,1,,\nI,,2,\nJ,,,\n"
        "K,1,2,Harvask\n"
        "L,91,2,\n"
        "M,2,181,\n"
        ",1,2,\n"
        "N,nan,inf,\n"
        "O,,,L\n"
    )
    sites = read_sites(file("site,tx_lat_deg,tx_lon_deg,same_as\n" + rows))
    assert sites.frame["site"].tolist() == ["Harvask"]
    assert sites.rows_read == 18 == 1 + sites.rows_rejected
    why = reasons(sites.rejects)
    assert why[2, "same_as", "B"] == "goes round: A -> B -> C -> A"
    assert why[5, "same_as", "B"] == "goes round: D -> B -> C -> A -> B"
    assert why[6, "same_as", "e"] == "goes round: E -> E"
    near = "no site of this name, or it was refused; did you mean 'Harvask'?"
    assert why[7, "same_as", "Harvest"] == near
    assert why[8, "same_as", "F"] == f"'Harvest', the same as 'F': {near}"
    assert why[10, "site", "HARVASK"] == "stands already in row 9"
    assert {key for key, reason in why.items() if reason.startswith("neither both")} == {
        (row, "tx_lat_deg", "") for row in (11, 12, 13)
    }
    assert why[14, "same_as", "Harvask"] == "a second name has no coordinates of its own"
    assert "swapped" in why[15, "tx_lat_deg", "91"]
    assert (16, "tx_lon_deg", "181") in why
    assert why[17, "site", ""] == "empty"
    assert why[18, "tx_lat_deg", "nan"] == why[18, "tx_lon_deg", "inf"] == "not a finite number"
    assert why[19, "same_as", "L"].startswith("no site of this name, or it was refused")


@pytest.mark.parametrize("rows", ["", "A,91,0,\n"])
def test_a_table_without_a_good_row_is_a_table(file, rows):
    sites = read_sites(file("site,tx_lat_deg,tx_lon_deg,same_as\n" + rows))
    assert (len(sites), sites.rows_read) == (0, rows.count("\n"))
    assert sites.place("A") is None
    assert sites.frame.columns.tolist() == ["row", "site", "tx_lat_deg", "tx_lon_deg", "same_as"]


# In a schedule ----------------------------------------------------------------------------------


def test_a_schedule_takes_what_it_lacks(file, listed):
    places = file(SITES)
    path = listed("hvk,,", "Pelmarque,-3.5,19.25", "Nowhere,1,2", ",3,4")
    schedule = read_schedule(path, sites=places)
    assert schedule.rejects.empty
    assert schedule.warnings.empty
    assert schedule.frame[["tx_lat_deg", "tx_lon_deg"]].to_numpy().tolist() == [
        [60.5, 22.25],
        [-3.5, 19.25],
        [1.0, 2.0],
        [3.0, 4.0],
    ]
    assert read_schedule(path, sites=read_sites(places)).frame.equals(schedule.frame)
    without = read_schedule(path)
    assert reasons(without.rejects) == {
        (2, "tx_lat_deg", ""): "empty",
        (2, "tx_lon_deg", ""): "empty",
    }


def test_a_row_without_a_place_is_refused(file, listed):
    path = listed("Harvaks,,", ",,", "HVK,60.5,", "HVK,,22.25", "HVK,,")
    schedule = read_schedule(path, sites=file(SITES))
    assert schedule.frame["row"].tolist() == [6]
    half = "empty, while the other coordinate is there"
    lacks = "no coordinates, and sites.csv does not have this site; did you mean 'Harvask'?"
    assert reasons(schedule.rejects) == {
        (2, "site", "Harvaks"): lacks,
        (3, "site", ""): "neither a site nor coordinates",
        (4, "tx_lon_deg", ""): half,
        (5, "tx_lat_deg", ""): half,
    }


def test_columns_of_coordinates_may_be_left_out(file):
    header = HEADER.replace(",tx_lat_deg,tx_lon_deg", "")
    path = file(f"{header}\n9505,1800,1900,daily,Radio Belmorant,Old Mast,100\n", "list.csv")
    schedule = read_schedule(path, sites=file(SITES))
    assert schedule.frame[["tx_lat_deg", "tx_lon_deg"]].to_numpy().tolist() == [[60.5, 22.25]]
    with pytest.raises(InputError, match="'tx_lat_deg', 'tx_lon_deg' is missing"):
        read_schedule(path)


def test_places_far_from_the_table_are_doubted(file, listed):
    # One degree of latitude is 111.2 km on a sphere of 6371 km (mean radius; from memory).
    path = listed("Harvask,61.38,22.25", "Harvask,61.42,22.25", "Harvask,22.25,60.5")
    schedule = read_schedule(path, sites=file(SITES))
    assert len(schedule) == 3
    assert schedule.warnings["row"].tolist() == [3, 4]
    assert schedule.warnings["value"].tolist() == ["Harvask"] * 2
    km = float(schedule.warnings["reason"].iloc[0].split(" km from the place that sites.csv")[0])
    assert km == pytest.approx(0.92 * 111.2, rel=0.01)


def test_a_layout_names_the_sites_beside_its_list(file, listed, tmp_path, monkeypatch):
    path = listed("hvk,,")
    file(SITES, "places.csv")
    file('sites = "places.csv"\n', "list.csv.layout.toml")
    monkeypatch.chdir(tmp_path.parent)
    assert read_schedule(path).frame["tx_lat_deg"].tolist() == [60.5]
    other = file(SITES.replace("60.5", "61.5"), "other.csv")
    assert read_schedule(path, sites=other).frame["tx_lat_deg"].tolist() == [61.5]
    (tmp_path / "places.csv").unlink()
    with pytest.raises(FileNotFoundError):
        read_schedule(path)


# Several beams ----------------------------------------------------------------------------------

HOME = Station(name="Invented", lat_deg=58.4, lon_deg=26.7, time_zone="Europe/Tallinn")


@pytest.mark.parametrize("antenna", ["HR 4/4/0.5", "HR 2/2/0.5", ""])
@pytest.mark.parametrize("beams", ["120/300", "30/60/75.5", "0/90/180/270"])
def test_the_gain_of_several_beams_is_the_mean_of_the_powers(listed, antenna, beams):
    # Planted truth: the same list with one beam a row; power divided evenly adds in linear units.
    header = f"{HEADER},azimuth_deg,antenna"
    single = beams.split("/")
    place = "Pelmarque,38.5,19.25"
    several = read_schedule(listed(place, header=header, more=f",{beams},{antenna}"))
    assert several.frame["beams_deg"].tolist() == [beams]
    assert several.frame["azimuth_deg"].tolist() == [float(single[0])]
    got = broadcast_geometry(HOME, several.frame)
    each = []
    for beam in single:
        one = read_schedule(listed(place, header=header, more=f",{beam},{antenna}"))
        assert one.frame["beams_deg"].tolist() == [""]
        each.append(broadcast_geometry(HOME, one.frame))
    linear = np.mean([10.0 ** (one["pattern_dbi"] / 10.0) for one in each], axis=0)
    np.testing.assert_allclose(got["pattern_dbi"], 10.0 * np.log10(linear), rtol=0, atol=1e-9)
    if antenna:
        assert np.ptp([one["tx_gain_dbi"] for one in each]) > 0.1  # the beams do differ
    assert got["tx_gain_dbi"] == pytest.approx(10.0 * np.log10(linear.max()), abs=1e-9)
    assert got["off_beam_deg"] == min(one["off_beam_deg"] for one in each)


@pytest.mark.parametrize(
    ("beams", "says"),
    [
        ("120/", "not a number"),
        ("120/361", "outside"),
        ("120/120.0", "an azimuth stands twice"),
        ("1/2/3/4/5/6/7", "more than 6 azimuths"),
        ("120-300", "not a number"),
    ],
)
def test_beams_that_cannot_be_are_refused(listed, beams, says):
    schedule = read_schedule(listed("A,1,2", header=f"{HEADER},azimuth_deg", more=f",{beams}"))
    assert schedule.rejects[["column", "value"]].to_numpy().tolist() == [["azimuth_deg", beams]]
    assert says in schedule.rejects["reason"].iloc[0]
