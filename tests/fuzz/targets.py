"""What is fuzzed: every reader, good files to start from, and what counts as a fault.

A reader may refuse a file with InputError, or give a table in which accepted + rejected = read. Any
other exception, a warning, a changed file, or work of more than `SLOW_S` is a fault. All files
are invented, but for a few days of the shipped indices. Left out is netCDF: its library goes round
for ever on some damaged files, out of reach of any time limit of Python.
"""

from __future__ import annotations

import functools
import io
import json
import signal
import tempfile
import warnings
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd

import farhear as fh
from farhear import bundle, privacy
from farhear.calibrate import read_fit
from farhear.cards import read_cards
from farhear.club import read_members
from farhear.errors import InputError
from farhear.layouts import read_layout
from farhear.noise import read_atmospheric
from farhear.predictions import read_predictions
from farhear.questions import read_questions
from farhear.scoring import read_checks
from farhear.sites import read_sites
from farhear.study import Study
from farhear.zone import read_zones

SLOW_S = 20
"""Longer than this on processors no small file may take. [s]"""

LOG = (
    "check_id,start_utc,end_utc,freq_khz,outcome,identity,id_confidence,sinpo,language,notes\n"
    "a1,2026-11-25T18:00Z,2026-11-25T18:04:30Z,6070,heard,Radio Belmorant,sure,34333,eng,a\n"
    "a2,2026-11-25T19:00+02:00,2026-11-25T19:04+02:00,9505,not_heard,Noverrin,,,,'=b\n"
    'a3,2026-11-25T20:00Z,2026-11-25T20:04Z,9506.5,1,"Radio ""Ö""",guess,,est,"c, d"\n'
)
SCHEDULE = (
    "freq_khz,start_utc,stop_utc,days,broadcaster,tx_lat_deg,tx_lon_deg,power_kw,language,"
    "valid_from,valid_to,azimuth_deg,antenna,target,modulation\n"
    "9505,1800,1900,daily,Radio Belmorant,58.4,26.7,100,eng,2026-10-25,2027-03-28,120,,27,AM\n"
    "6070,2330,0045,mon-fri,Noverrin External,-3.5,19.25,250,est,,,90|180,,,\n"
)
SITES = "site,tx_lat_deg,tx_lon_deg,same_as\nHarvask,58.4,26.7,\nPelmarque,,,Harvask\n"
CHECKS = (
    "utc,freq_khz,tx_lat_deg,tx_lon_deg,rx_lat_deg,rx_lon_deg,heard,power_kw,noise\n"
    "2026-11-25T18:00Z,6070,40.5,19.25,58.4,26.7,1,100,rural\n"
    "2026-11-25T19:00Z,9505,40.5,19.25,58.4,26.7,0,250,40\n"
)
CARDS = (
    "report_id,broadcaster,freq_khz,start_utc,end_utc,tentative,sent_utc,sent_by,card_utc,"
    "card_kind,note\n"
    "r0123456789ab,Radio Belmorant,6070,2026-11-25T18:00Z,2026-11-25T18:30Z,no,"
    "2026-11-26T08:00Z,post,2027-01-02T00:00Z,paper,a\n"
    "rba9876543210,Noverrin,9505,2026-11-25T19:00Z,2026-11-25T19:30Z,yes,"
    "2026-11-26T08:00Z,e-mail,,,\n"
)
PREDICTIONS = (
    "issued_utc,start_utc,end_utc,freq_khz,broadcaster,likelihood\n"
    "2026-11-25T12:00Z,2026-11-25T18:00Z,2026-11-25T18:30Z,6070,Radio Belmorant,0.83\n"
)
STATION = (
    'name = "Invented"\nlat_deg = 58.4\nlon_deg = 26.7\ntime_zone = "Europe/Tallinn"\n'
    'noise = "rural"\n[[setups]]\nfrom_date = 2026-01-01\nreceiver = "a box"\nantenna = "wire"\n'
)
LAYOUT = 'delimiter = ";"\nskip_lines = 2\n\n[positions]\nfreq_khz = [1, 5]\n'
LAYOUT_2 = 'days = "iso"\nsites = "s.csv"\n[columns]\nfreq_khz = "kHz"\n'
QUESTIONS = (
    '[[questions]]\nhunch = "H1"\ntext = "a first?"\nwritten_utc = "2026-10-01T00:00Z"\n'
    'parameters = {a = "31 m", b = "49 m"}\n\n'
    '[[questions]]\nhunch = "H4"\ntext = "Kp?"\nwritten_utc = "2026-10-01T00:00Z"\n'
)
MEMBERS = (
    '[[members]]\nname = "Birch"\nplace = "KO38"\ntime_zone = "Europe/Tallinn"\n'
    'licence = "CC-BY-4.0"\nconsent = true\nlog = "log.csv"\n\n'
    '[[members]]\nname = "Alder"\nconsent = true\nstudy = "alder.zip"\n'
)
ADIF = (
    "invented <ADIF_VER:5>3.1.6 <EOH>\n"
    "<QSO_DATE:8>20261125 <TIME_ON:4>1800 <TIME_OFF:4>1804 <FREQ:5>9.505 <CALL:3>ABC "
    "<MODE:3>SSB <SUBMODE:3>USB <EOR>\n<QSO_DATE:8>20261125 <TIME_ON:6>235900 <TIME_OFF:6>000100 "
    "<FREQ:4>6.07 <APP_FARHEAR_SINPO:5>34333 <COMMENT:2>ab <EOR>\n"
)
GFZ = (
    "#YYY MM DD  days  days_m  Bsr dB    Kp1    Kp2    Kp3    Kp4    Kp5    Kp6    Kp7    Kp8  "
    "ap1  ap2  ap3  ap4  ap5  ap6  ap7  ap8    Ap  SN F10.7obs F10.7adj D\n"
    "2024 05 10 33732 33732.5 2600 11  2.333  2.000  2.000  3.667  3.333  7.667  8.667  9.000    "
    "9    7    7   22   18  179  300  400   118 170    223.3    227.9 2\n"
)
CELESTRAK = (
    "DATE,BSRN,ND,KP1,KP2,KP3,KP4,KP5,KP6,KP7,KP8,KP_SUM,AP1,AP2,AP3,AP4,AP5,AP6,AP7,AP8,AP_AVG,"
    "CP,C9,ISN,F10.7_OBS,F10.7_ADJ,F10.7_DATA_TYPE\n"
    "2024-05-10,2600,11,23,20,20,37,33,77,87,90,387,9,7,7,22,18,179,300,400,118,1.9,7,170,223.3,"
    "227.9,OBS\n"
)
INDICES = (
    "date,f107_obs_sfu,f107_adj_sfu,kp_00,status\n2024-05-10,223.3,227.9,2.33,observed\n"
    "2024-05-11,214.0,218.4,,predicted\n"
)
NOISE = (
    "month,hour_utc,freq_mhz,fa_db,upper_decile_db,lower_decile_db\n"
    "1,0,6,50,8,6\n1,12,6,40,8,6\n1,0,9,45,8,6\n1,12,9,35,8,6\n"
)
ZONES = json.dumps(
    {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"zone": 1},
                "geometry": {
                    "type": "Polygon",
                    "coordinates": [[[20, 50], [40, 50], [40, 60], [20, 60], [20, 50]]],
                },
            }
        ],
    }
)
_SHEET = "xl/worksheets/sheet1.xml"


@dataclass(frozen=True)
class Target:
    """A reader: good files as bytes, and what is done with others of that name."""

    seeds: Callable[[], list[bytes]]
    name: str
    read: Callable[[Path], Any]
    put: Callable[[Path, bytes], None] = Path.write_bytes

    def check(self, data: bytes) -> str:
        """Let the reader read; return what came of it in a word. A fault is an exception."""
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / self.name
            self.put(path, data)
            before = path.read_bytes()
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                signal.signal(signal.SIGPROF, _too_slow)
                signal.setitimer(signal.ITIMER_PROF, SLOW_S)
                try:
                    found = self.read(path)
                except InputError as refused:
                    assert len(str(refused)) < 5000, "a refusal without end"  # noqa: PT017
                    return "refused"
                finally:
                    signal.setitimer(signal.ITIMER_PROF, 0)
                    assert path.read_bytes() == before, "the file has changed"
        if hasattr(found, "rows_read"):
            accepted, rejected = set(found.frame["row"]), set(found.rejects["row"])
            assert found.rows_read == len(found.frame) + len(rejected), "a row is lost"
            assert len(accepted) == len(found.frame), "a row stands twice"
            assert not accepted & rejected, "a row is accepted and rejected"
        elif hasattr(found, "read_count"):
            rejected = set(found.rejects["row"])
            assert found.read_count == found.accepted_count + len(rejected), "a row is lost"
        return "read"


def _too_slow(*_: object) -> None:
    raise TimeoutError(f"took more than {SLOW_S} s")


# Files ------------------------------------------------------------------------------------------


def _rows(text: str) -> list[list[str]]:
    return pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False, header=None).to_numpy()


@functools.cache
def _workbook(text: str) -> bytes:
    book = openpyxl.Workbook()
    for cells in _rows(text):
        book.active.append(list(cells))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _parquet(text: str) -> bytes:
    out = io.BytesIO()
    pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False).to_parquet(out)
    return out.getvalue()


def _parts(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _sheet() -> list[bytes]:
    return [_parts(_workbook(LOG))[_SHEET]]


def _put_sheet(path: Path, data: bytes) -> None:
    """A good workbook with this sheet in it."""
    with zipfile.ZipFile(path, "w") as archive:
        for name, part in _parts(_workbook(LOG)).items():
            archive.writestr(name, data if name == _SHEET else part)


@functools.cache
def _study() -> tuple[bytes, tuple[str, ...]]:
    """A small study as an archive, and the files in it."""
    root = Path(__file__).resolve().parents[2] / "data" / "demo"
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        rows = [
            f"2024-11-{day:02d}T18:00Z,2024-11-{day:02d}T18:04Z,6070,"
            f"{'heard' if day % 2 else 'not_heard'},Radio Belmorant"
            for day in range(1, 9)
        ]
        head = "start_utc,end_utc,freq_khz,outcome,identity"
        (folder / "log.csv").write_text("\n".join([head, *rows, ""]))
        (folder / "s").mkdir()
        (folder / "s" / "study.toml").write_text(QUESTIONS.replace("2026-10", "2024-10"))
        study = Study.create(
            folder / "s",
            title="Invented",
            station=fh.read_station(root / "station.toml"),
            log=fh.read_log(folder / "log.csv"),
            schedule=fh.read_schedule(root / "schedule_b24.csv", days="iso", season="B24"),
        )
        study.run(charts=False, page=False)
        study.pack(folder / "s.zip")
        data = (folder / "s.zip").read_bytes()
    return data, tuple(sorted(_parts(data)))


def _put_study(path: Path, data: bytes) -> None:
    """An archive, sealed as it should be, in which one file has these bytes; the first says which.

    A byte of 0 to 127 chooses the file and keeps the seal fitting; from 128 on the seal is not
    mended, and the manifest and the descriptor may be the file.
    """
    whole, names = _study()
    which, data = data[:1] or b"\0", data[1:]
    loose = which[0] >= 128
    names = tuple(n for n in names if loose or n not in (bundle.MANIFEST, bundle.DESCRIPTOR))
    parts = _parts(whole)
    parts[names[which[0] % len(names)]] = data
    if not loose:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / "s"
            for name, part in parts.items():
                (folder / name).parent.mkdir(parents=True, exist_ok=True)
                (folder / name).write_bytes(part)
            package = json.loads(parts[bundle.DESCRIPTOR])
            for one in package["resources"]:
                file = folder / one["path"]
                one["bytes"], one["hash"] = len(file.read_bytes()), f"sha256:{_sha256(file)}"
            (folder / bundle.DESCRIPTOR).write_text(json.dumps(package))
            lines = [f"{_sha256(folder / n)}  {n}\n" for n in sorted(parts) if n != bundle.MANIFEST]
            (folder / bundle.MANIFEST).write_text("".join(lines))
            bundle.pack_folder(folder, path)
        return
    with zipfile.ZipFile(path, "w") as archive:
        for name, part in parts.items():
            archive.writestr(name, part)


_sha256 = bundle.sha256_of


def _study_seeds() -> list[bytes]:
    whole, names = _study()
    parts = _parts(whole)
    names = [n for n in names if n not in (bundle.MANIFEST, bundle.DESCRIPTOR)]
    tight = [bytes([at]) + parts[name] for at, name in enumerate(names)]
    every = sorted(parts)
    loose = [
        bytes([128 + (at - 128) % len(every)]) + parts[name]
        for at, name in enumerate(every)
        if name in (bundle.MANIFEST, bundle.DESCRIPTOR)
    ]
    return [*tight, *loose]


def _verified(path: Path) -> None:
    """All of :func:`farhear.verify`, with the attack on the home."""
    with bundle.opened(path) as folder:
        bundle.seal_faults(folder)
        study = Study.open(folder)
        found = fh.verify(folder, rerun=True)
        found.text()
        privacy.attack(study).text()


def _fixed(path: Path, data: bytes) -> None:
    """A log of fixed width; its layout stands beside it."""
    Path(f"{path}.layout.toml").write_text(
        "skip_lines = 1\n[positions]\nstart_utc = [1, 17]\nend_utc = [19, 35]\n"
        "freq_khz = [37, 41]\noutcome = [43, 51]\n"
    )
    path.write_bytes(data)


def _members(path: Path, data: bytes) -> None:
    (path.parent / "log.csv").write_text(LOG)
    (path.parent / "alder.zip").write_bytes(_study()[0])
    path.write_bytes(data)


def _questions(path: Path) -> None:
    read_questions(path.parent)


def _opened(path: Path) -> None:
    Study.open(path.parent)


@functools.cache
def _fit() -> bytes:
    """A fit as it is written."""
    from farhear.calibrate import PARAMETERS, Fit

    rows = [
        {"against": against, "score": score, "gain": 0.1, "low": 0.05, "high": 0.2}
        for against in ("no fit", "two-parameter recalibration")
        for score in ("log", "Brier")
    ]
    made = Fit(
        **dict(zip(PARAMETERS, (1.5, 0.0, 1.0, 2.0), strict=True)),
        covariance=pd.DataFrame([[1.0 if i == k else 0.1 for i in range(4)] for k in range(4)])
        .to_numpy()
        .copy(),
        held=(),
        validation=pd.DataFrame(rows),
        checks_count=200,
        heard_count=90,
        weeks_count=8,
        first_utc="2024-11-01T18:00:00Z",
        last_utc="2024-12-24T18:00:00Z",
        log_sha256="0" * 64,
        flux="27day",
        notes=("a note",),
    )
    with tempfile.TemporaryDirectory() as place:
        made.write(Path(place) / "fit.toml")
        return (Path(place) / "fit.toml").read_bytes()


def _texts(*texts: str) -> Callable[[], list[bytes]]:
    return lambda: [text.encode() for text in texts]


FIXED = (
    "start             end               kHz   outcome\n"
    "2026-11-25T18:00Z 2026-11-25T18:04Z 6070  heard\n"
    "2026-11-25T19:00Z 2026-11-25T19:04Z 9505  not_heard\n"
)

TARGETS = {
    "log": Target(_texts(LOG), "a.csv", fh.read_log),
    "log-zone": Target(
        _texts(LOG.replace("Z,", ","), LOG.replace("2026-11-25T18:00Z", "25 Nov 2026 8 pm")),
        "a.csv",
        functools.partial(fh.read_log, time_zone="Europe/Tallinn"),
    ),
    "log-tsv": Target(_texts(LOG.replace(",", "\t")), "a.tsv", fh.read_log),
    "log-fixed": Target(_texts(FIXED), "a.txt", fh.read_log, _fixed),
    "log-xlsx": Target(lambda: [_workbook(LOG)], "a.xlsx", fh.read_log),
    "log-sheet": Target(
        lambda: [_parts(_workbook(LOG))[_SHEET]], "a.xlsx", fh.read_log, _put_sheet
    ),
    "log-parquet": Target(lambda: [_parquet(LOG)], "a.parquet", fh.read_log),
    "log-adif": Target(_texts(ADIF), "a.adi", fh.read_log),
    "schedule": Target(
        _texts(SCHEDULE), "a.csv", functools.partial(fh.read_schedule, season="B26")
    ),
    "schedule-xlsx": Target(lambda: [_workbook(SCHEDULE)], "a.xlsx", fh.read_schedule),
    "sites": Target(_texts(SITES), "a.csv", read_sites),
    "checks": Target(_texts(CHECKS), "a.csv", functools.partial(read_checks, power_kw=100.0)),
    "cards": Target(_texts(CARDS), "a.csv", read_cards),
    "predictions": Target(_texts(PREDICTIONS), "a.csv", read_predictions),
    "noise": Target(_texts(NOISE), "a.csv", read_atmospheric),
    "station": Target(_texts(STATION), "a.toml", fh.read_station),
    "layout": Target(_texts(LAYOUT, LAYOUT_2), "a.toml", read_layout),
    "questions": Target(_texts(QUESTIONS), "study.toml", _questions),
    "study-toml": Target(lambda: [_parts(_study()[0])["study.toml"]], "study.toml", _opened),
    "members": Target(_texts(MEMBERS), "club.toml", read_members, _members),
    "fit": Target(lambda: [_fit()], "fit.toml", read_fit),
    "indices": Target(_texts(INDICES), "a.csv", fh.read_indices),
    "indices-gfz": Target(_texts(GFZ), "a.txt", fh.read_indices),
    "indices-celestrak": Target(_texts(CELESTRAK), "a.csv", fh.read_indices),
    "zones": Target(_texts(ZONES), "a.geojson", read_zones),
    "bundle": Target(lambda: [_study()[0]], "a.zip", _verified),
    "bundle-inside": Target(_study_seeds, "a.zip", _verified, _put_study),
}
"""Name -> reader; a file `NAME.HASH.bin` under `regressions` belongs to that name."""
