"""Make the demonstration schedules. Everything in them is invented.

Run `python data/demo/build.py` from anywhere: it rewrites schedule_a24.csv and schedule_b24.csv
beside itself, byte for byte the same on every machine (a small generator of its own, no library).
"""

import csv
import io
import math
from collections.abc import Sequence
from pathlib import Path

HERE = Path(__file__).resolve().parent
COMMENT = "# invented for demonstration: no broadcaster, site or schedule in this file is real\n"
COLUMNS = (
    *("freq_khz", "start_utc", "stop_utc", "days", "valid_from", "valid_to"),
    *("broadcaster", "language", "site", "tx_lat_deg", "tx_lon_deg"),
    *("power_kw", "azimuth_deg", "slew_deg", "antenna", "target", "modulation"),
)

# First and last day of the season: last Sundays of March and October.
SEASONS = {"A24": ("2024-03-31", "2024-10-27"), "B24": ("2024-10-27", "2025-03-30")}
# A date inside the season at which some rows start or stop.
INSIDE = {
    "A24": ("2024-05-31", "2024-06-01", "2024-08-31"),
    "B24": ("2024-12-31", "2025-01-01", "2025-02-28"),
}

# band: rows wanted, segments in kHz (the parts in use in every Region), hours are in SUITABLE
BANDS = {
    120: (6, ((2300, 2490),)),
    90: (10, ((3200, 3400),)),
    75: (8, ((3955, 4000),)),
    60: (14, ((4750, 4990), (5010, 5060))),
    49: (52, ((5905, 6195),)),
    41: (42, ((7205, 7445),)),
    31: (62, ((9405, 9895),)),
    25: (56, ((11605, 12095),)),
    22: (28, ((13575, 13865),)),
    19: (58, ((15105, 15795),)),
    16: (42, ((17485, 17895),)),
    15: (8, ((18905, 19015),)),
    13: (16, ((21455, 21845),)),
    11: (4, ((25675, 26095),)),
}

# Invented names; the places are plausible ones, to 0.1 degree, and not those of any known site.
SITES = (
    ("Harvask", 62.3, 15.2, "EU"),
    ("Ondrellow", 52.7, 0.9, "EU"),
    ("Pelmarque", 44.2, 0.9, "EU"),
    ("Tolgareth", 41.2, -5.1, "EU"),
    ("Brunnevik", 50.6, 19.3, "EU"),
    ("Castrelun", 46.6, 24.3, "EU"),
    ("Vostramir", 56.9, 48.4, "EU"),
    ("Ligorene", 39.6, 21.9, "EU"),
    ("Sarhadun", 38.6, 33.8, "AS"),
    ("Dashemir", 33.4, 51.3, "AS"),
    ("Wadrasil", 22.7, 46.2, "AS"),
    ("Almerrin", 21.8, 57.3, "AS"),
    ("Tulgarai", 43.6, 68.9, "AS"),
    ("Orshuluk", 48.9, 103.7, "AS"),
    ("Bandhelor", 24.8, 77.6, "AS"),
    ("Kurishan", 30.6, 72.1, "AS"),
    ("Galwetara", 7.4, 80.9, "AS"),
    ("Linxuhe", 36.1, 104.6, "AS"),
    ("Hoshinuma", 37.6, 140.1, "AS"),
    ("Saemuljin", 36.2, 128.3, "AS"),
    ("Lampaduri", -2.9, 104.1, "AS"),
    ("Nakhonwiat", 15.4, 102.2, "AS"),
    ("Isaluyan", 16.1, 120.9, "AS"),
    ("Tamezrou", 31.4, -6.2, "AF"),
    ("Djelkoum", 34.6, 2.7, "AF"),
    ("Sokarame", 12.3, 6.9, "AF"),
    ("Mbalengo", 0.7, 24.9, "AF"),
    ("Addiwera", 9.6, 37.7, "AF"),
    ("Zambelu", -13.9, 29.2, "AF"),
    ("Karoosvlei", -30.8, 23.6, "AF"),
    ("Ambohitrel", -19.9, 46.1, "AF"),
    ("Wintervane", 46.8, -72.9, "AM"),
    ("Copperfell", 38.2, -88.4, "AM"),
    ("Palmeteral", 20.9, -101.5, "AM"),
    ("Guarinoa", -12.9, -46.3, "AM"),
    ("Illampura", -17.6, -65.4, "AM"),
    ("Pampalera", -34.9, -61.6, "AM"),
    ("Sierranque", 21.6, -78.4, "AM"),
    ("Murrawindi", -34.2, 147.1, "OC"),
    ("Kauwharere", -40.0, 175.7, "OC"),
    ("Sepikora", -5.6, 143.6, "OC"),
)

# Invented broadcasters with the regions in which they rent or own a transmitter.
BROADCASTERS = (
    ("Radio Belmorant", ("EU", "AF", "AS")),
    ("Quellar Overseas", ("EU", "AS", "AM")),
    ("Tovrinsk Shortwave", ("EU", "AS")),
    ("Radio Sulimaru", ("AS", "OC")),
    ("Orvandel Calling", ("EU", "AF", "AM")),
    ("Kesterwyn Service", ("EU", "OC", "AF")),
    ("Mirabundo al Aire", ("AM",)),
    ("Radio Yandorica", ("AF", "AM")),
    ("Zephrine Waves", ("EU", "AF")),
    ("Lakatuma Radio", ("AS", "OC")),
    ("Noverrin External", ("EU", "AS", "AF")),
    ("Haldrith Radio", ("EU", "AM", "OC")),
    ("Radio Umbasani", ("AF",)),
    ("Tiravelline Ondes", ("EU", "AF")),
    ("Corvantel Radio", ("AM", "EU")),
    ("Jaspelline Hour", ("AM", "AS", "EU")),
    ("Dorwashi Radio", ("AS",)),
    ("Ixtamelo Radio", ("AM",)),
)

# Target areas: latitude, longitude, CIRAF zones (from memory), languages (ISO 639-3).
TARGETS = (
    (60.0, 20.0, "18", ("eng", "swe", "est", "fin", "rus")),
    (49.0, 4.0, "27 28", ("fra", "deu", "eng", "nld")),
    (41.0, 14.0, "28 37", ("ita", "spa", "eng")),
    (55.0, 38.0, "29", ("rus", "ukr", "eng")),
    (32.0, 44.0, "39 40", ("ara", "fas", "tur", "eng")),
    (32.0, 6.0, "37 38", ("ara", "fra")),
    (9.0, 2.0, "46", ("fra", "hau", "eng", "yor")),
    (2.0, 37.0, "48", ("swa", "eng", "amh", "som")),
    (-25.0, 28.0, "53 57", ("eng", "por", "zul")),
    (24.0, 78.0, "41", ("hin", "urd", "ben", "tam", "eng")),
    (43.0, 68.0, "30 31", ("rus", "kaz", "uzb")),
    (35.0, 115.0, "43 44", ("zho", "eng", "kor")),
    (36.0, 138.0, "45", ("jpn", "eng")),
    (8.0, 108.0, "49 50 54", ("vie", "tha", "ind", "eng")),
    (42.0, -90.0, "6 7 8", ("eng", "spa", "fra")),
    (15.0, -86.0, "10 11", ("spa", "eng")),
    (-18.0, -56.0, "12 13 14 15", ("spa", "por")),
    (-28.0, 150.0, "55 59 60", ("eng", "tpi")),
)


class Draw:
    """Park-Miller generator: the same numbers everywhere and for ever."""

    def __init__(self, seed: int) -> None:
        self.state = seed % 2147483646 + 1

    def unit(self) -> float:
        self.state = self.state * 48271 % 2147483647
        return self.state / 2147483647.0

    def pick(self, values: Sequence):
        return values[int(self.unit() * len(values))]


def arc_and_azimuth(lat1, lon1, lat2, lon2):
    """Distance in km and azimuth in degrees on the sphere of 6371 km."""
    a, b, d = math.radians(lat1), math.radians(lat2), math.radians(lon2 - lon1)
    y = math.sin(d) * math.cos(b)
    x = math.cos(a) * math.sin(b) - math.sin(a) * math.cos(b) * math.cos(d)
    z = math.sin(a) * math.sin(b) + math.cos(a) * math.cos(b) * math.cos(d)
    return 6371.0 * math.atan2(math.hypot(x, y), z), math.degrees(math.atan2(y, x)) % 360.0


def middle_lon(lat1, lon1, lat2, lon2):
    """Longitude of the middle of the short path."""
    vectors = []
    for lat, lon in ((lat1, lon1), (lat2, lon2)):
        a, o = math.radians(lat), math.radians(lon)
        vectors.append((math.cos(a) * math.cos(o), math.cos(a) * math.sin(o)))
    (x1, y1), (x2, y2) = vectors
    return math.degrees(math.atan2(y1 + y2, x1 + x2))


def suitable(band: int, distance_km: float, sun_h: float, season: str) -> bool:
    """A planner's habit: low bands by night and near, high bands by day and far."""
    shift = 1.0 if season.startswith("A") else 0.0
    day = 7.5 - shift <= sun_h < 16.0 + shift
    evening = 16.0 + shift <= sun_h < 22.0
    if band >= 60:
        return distance_km < (1500.0 if band > 75 else 2200.0) and not day
    if band == 49:
        return distance_km < 1300.0 if day else distance_km < 6000.0
    if band == 41:
        return distance_km < 1800.0 if day else 300.0 < distance_km < 8000.0
    if band == 31:
        return 800.0 < distance_km < (3000.0 if day else 11000.0)
    if band in (25, 22):
        return 1500.0 < distance_km < 12000.0 and (day or evening)
    if band in (19, 16):
        return 2200.0 < distance_km < 15000.0 and (day or (evening and sun_h < 19.5))
    return distance_km > 3000.0 and day


def hhmm(minutes: int) -> str:
    return f"{minutes // 60:02d}{minutes % 60:02d}"


def local_hours(draw: Draw, tropical: bool) -> float:
    """Hour of start at the target: mostly evenings, some mornings and middays."""
    spread = (
        (5.0, 6.0, 18.0, 19.0, 20.0, 21.0)
        if tropical
        else (
            6.0,
            7.0,
            8.0,
            12.0,
            13.0,
            15.0,
            16.0,
            17.0,
            18.0,
            18.5,
            19.0,
            19.5,
            20.0,
            21.0,
            22.0,
        )
    )
    return draw.pick(spread)


def one_row(draw: Draw, band: int, season: str, used: set) -> dict | None:
    broadcaster, regions = draw.pick(BROADCASTERS)
    site, lat, lon, region = draw.pick(SITES)
    if region not in regions:
        return None
    tropical = band in (120, 90, 60)
    if tropical:  # the tropical bands are for near listeners inside the tropical zone
        if abs(lat) > 25.0 or region == "EU":
            return None
        near = min(TARGETS, key=lambda t: arc_and_azimuth(lat, lon, t[0], t[1])[0])
        target = (lat, lon, near[2], near[3])
    else:
        target = draw.pick(TARGETS)
        if band == 75 and region not in ("EU", "AS"):
            return None
        if band == 41 and region == "AM" and season == "A24" and draw.unit() < 0.5:
            return None
    distance_km, azimuth = arc_and_azimuth(lat, lon, target[0], target[1])
    start = round((local_hours(draw, tropical) - target[1] / 15.0) % 24.0 * 2.0) * 30 % 1440
    length = draw.pick((30, 30, 60, 60, 60, 60, 120, 120, 180, 240))
    sun_h = (start / 60.0 + length / 120.0 + middle_lon(lat, lon, target[0], target[1]) / 15.0) % 24
    if not suitable(band, distance_km, sun_h, season):
        return None
    stop = start + length
    low, high = draw.pick(BANDS[band][1])
    freq = low + 5 * int(draw.unit() * ((high - low) // 5 + 1))
    slots = {(freq + d, h % 48) for d in (-5, 0, 5) for h in range(start // 30, -(-stop // 30))}
    if slots & used:
        return None
    used |= {(freq, h % 48) for h in range(start // 30, -(-stop // 30))}
    first, last = SEASONS[season]
    if draw.unit() < 0.07:
        first = INSIDE[season][1]
    elif draw.unit() < 0.07:
        last = draw.pick((INSIDE[season][0], INSIDE[season][2]))
    wide = tropical or distance_km < 900.0
    reach = 1.0 + distance_km / 8000.0
    if tropical:
        power = draw.pick((1, 5, 10, 10, 25, 50))
    elif distance_km < 900.0:
        power = draw.pick((1, 5, 10, 50, 100))
    else:
        power = draw.pick(
            (50, 100, 100, 250, 250, 300, 500) if reach > 1.4 else (50, 100, 100, 250)
        )
    days = draw.pick(("daily",) * 13 + ("1-5", "1-5", "67", "67", "6", "7", "135"))
    modulation = "DIGITAL" if not tropical and draw.unit() < 0.015 else "DSB"
    return {
        "freq_khz": freq,
        "start_utc": hhmm(start),
        "stop_utc": hhmm(stop if stop <= 1440 else stop - 1440),
        "days": days,
        "valid_from": first,
        "valid_to": last,
        "broadcaster": broadcaster,
        "language": draw.pick(target[3]),
        "site": site,
        "tx_lat_deg": f"{lat:.1f}",
        "tx_lon_deg": f"{lon:.1f}",
        "power_kw": power,
        "azimuth_deg": "" if wide else round(azimuth) % 360,
        "slew_deg": "" if wide else draw.pick((0, 0, 0, 0, -15, 15)),
        "antenna": "non-directional" if wide else draw.pick(("HR 2/2/0.5", "HR 4/4/0.5")),
        "target": target[2],
        "modulation": modulation,
    }


def build(season: str, seed: int) -> str:
    draw, used, rows = Draw(seed), set(), []
    for band, (wanted, _) in BANDS.items():
        made = 0
        for _ in range(200_000):
            row = one_row(draw, band, season, used)
            if row is not None:
                rows.append(row)
                made += 1
            if made == wanted:
                break
        else:
            raise SystemExit(f"{season} {band} m: only {made} of {wanted} rows")
    rows.sort(key=lambda r: (r["freq_khz"], r["start_utc"], r["broadcaster"], r["days"]))
    text = io.StringIO()
    text.write(COMMENT)
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def main() -> None:
    for season, seed in (("A24", 2024_03_31), ("B24", 2024_10_27)):
        name = f"schedule_{season.lower()}.csv"
        (HERE / name).write_text(build(season, seed), encoding="utf-8", newline="")
        print(name)


if __name__ == "__main__":
    main()
