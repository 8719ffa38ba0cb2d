"""Speed and error rates of hunches: ``python tests/bench/bench_hunch.py``.

Prints (1) how often a log without any lead gets a claim, from the plain way (whoever was heard
first on the clock, sign test), from the sign test on intervals alone, and from the verdict; how
often a lead of 15 min is found; (2) the time of the verdicts, and of the same fits in a plain loop
over scipy; (3) the time of one run of H1 to H8, each in its own verdict, on a log of 10,000 checks,
beside reading that log with `pandas.read_csv`. Exits with an error if the plain loop finds another
lead. Ratios carry over from machine to machine, seconds do not.
"""

import io
import time
from collections import Counter

import numpy as np
import pandas as pd
from _timing import QUICK
from scipy import stats

from farhear import hunch
from farhear.evenings import openings
from farhear.questions import Question
from farhear.simulate import season

BANDS = ["31 m", "49 m"]
PATTERNS = ("steady", "late", "sparse")
SEASONS = 6 if QUICK else 400
FOUND = 4 if QUICK else 200
PLAIN = 1 if QUICK else 4


def tables(pattern, order, lead, count, evenings=60):
    """Logs with a known lead of the first band."""
    opening = dict(zip(BANDS, (40.0, 40.0 + lead), strict=True))
    return [
        season(
            np.random.default_rng(seed + (100_000 if lead else 0)),
            bands=BANDS,
            evenings=evenings,
            pattern=pattern,
            order=order,
            opening_min=opening,
        ).table
        for seed in range(count)
    ]


def on_the_clock(table):
    """P of the plain way: the band whose first heard check began earlier was first."""
    heard = table[table["heard"] == 1.0]
    first = heard.pivot_table("start_min", "evening", "band", "min")
    a, b = first[BANDS[0]].to_numpy(), first[BANDS[1]].to_numpy()
    a, b = np.nan_to_num(a, nan=np.inf), np.nan_to_num(b, nan=np.inf)
    wins, losses = int((a < b).sum()), int((b < a).sum())
    return stats.binomtest(wins, wins + losses).pvalue if wins + losses else 1.0


def plain_lead(table):
    """Lead and its jackknife error by one scipy fit after the other."""
    frame = openings(table, BANDS)
    ends = [frame[frame["band"] == band][["low_min", "high_min"]].to_numpy() for band in BANDS]
    blocks = np.arange(len(ends[0])) // 5

    def lead(keep):
        means = [stats.norm.fit(stats.CensoredData(interval=one[keep]))[0] for one in ends]
        return means[1] - means[0]

    without = np.array([lead(blocks != g) for g in range(blocks[-1] + 1)])
    groups = without.size
    spread = ((without - without.mean()) ** 2).sum()
    return lead(blocks >= 0), np.sqrt((groups - 1) / groups * spread)


def main():
    """Measure and print."""
    print(f"no lead, 60 evenings, {SEASONS} seasons: share with a claim, nominal 5 %")
    print(f"{'pattern':8s} {'order':11s} {'clock':>7s} {'sign':>7s} {'verdict':>8s} {'warned':>7s}")
    judged_s = 0.0
    for pattern in PATTERNS:
        for order in ("alternated", "fixed"):
            logs = tables(pattern, order, 0.0, SEASONS)
            clock = np.mean([on_the_clock(one) < 0.05 for one in logs])
            start = time.perf_counter()
            found = [hunch.first_at_dusk(one, *BANDS) for one in logs]
            judged_s += time.perf_counter() - start
            sign = np.mean([one.p_value < 0.05 for one in found])
            claims = np.mean([one.word in ("SUPPORTED", "AGAINST") for one in found])
            warned = np.mean(["fixed order" in one.sentence for one in found])
            print(
                f"{pattern:8s} {order:11s} {100 * clock:6.1f}% {100 * sign:6.1f}% "
                f"{100 * claims:7.1f}% {100 * warned:6.0f}%"
            )
    print(f"lead of 15 min, 60 evenings, alternated, {FOUND} seasons")
    for pattern in PATTERNS:
        found = [
            hunch.first_at_dusk(one, *BANDS) for one in tables(pattern, "alternated", 15.0, FOUND)
        ]
        words = Counter(one.word for one in found)
        covered = np.mean([one.low < 15.0 < one.high for one in found])
        width = np.mean([one.high - one.low for one in found])
        print(
            f"{pattern:8s} found {100 * words['SUPPORTED'] / FOUND:5.1f} %, interval holds 15 in "
            f"{100 * covered:5.1f} %, its mean width {width:.1f} min"
        )

    logs = tables("steady", "alternated", 15.0, PLAIN)
    start = time.perf_counter()
    plain = [plain_lead(one) for one in logs]
    plain_s = (time.perf_counter() - start) / PLAIN
    own_s = judged_s / (6 * SEASONS)
    print(f"400 verdicts, one core: {400 * own_s:7.1f} s")
    print(f"400 of the plain loop:  {400 * plain_s:7.1f} s, {plain_s / own_s:.0f} times as long")
    for one, (lead, error) in zip(logs, plain, strict=True):
        found = hunch.first_at_dusk(one, *BANDS)
        half = stats.t(11).ppf(0.975) * error
        if abs(found.effect - lead) > 0.02 or abs(found.high - lead - half) > 0.05:
            raise SystemExit(f"results differ: {found.effect} and {lead}")

    eight()


def eight():
    """One run of all hunches on a log of 10,000 checks over some 200 evenings."""
    checks = 500 if QUICK else 10_000
    bands = ["31 m", "41 m", "49 m"]
    made = season(
        np.random.default_rng(1),
        bands=bands,
        evenings=12 if QUICK else 240,
        first="2024-06-01",
        opening_min={"31 m": 40.0, "41 m": 50.0, "49 m": 60.0},
        noticing=0.8,
        every_min=30.0,
        gap_min=6.0,
        check_min=3.0,
        interleaved_log_odds=0.5,
    )
    frame = made.frame.head(checks).copy()
    frame["setup_id"] = np.where(frame["freq_khz"] > 9000.0, frame["setup_id"], "")
    start = time.perf_counter()
    evidence = hunch.Evidence.of(frame, made.station)
    table = evidence.table.assign(predicted=0.5)
    table["issued_utc"] = table["start_utc"] - pd.Timedelta(hours=1)
    evidence = hunch.Evidence(
        table=evidence.table, station=made.station, path_lat_deg=evidence.path_lat_deg, said=table
    )
    early = "2020-01-01T00:00Z"
    wanted = [
        ("H1", {"a": "41 m", "b": "49 m"}),
        ("H2", {"bands": ["41 m", "49 m"]}),
        ("H3", {"band": "41 m"}),
        ("H4", {"band": "41 m"}),
        ("H5", {"band": "41 m"}),
        ("H6", {}),
        ("H7", {"channel": "41 m", "from_min": 100.0}),
        ("H8", {"a": "long wire", "b": "loop"}),
    ]
    asked = [
        Question(hunch=kind, text=kind, parameters=given, written_utc=early)
        for kind, given in wanted
    ]
    found = hunch.answers(asked, evidence)
    own_s = time.perf_counter() - start
    text = frame.to_csv(index=False)
    start = time.perf_counter()
    pd.read_csv(io.StringIO(text))
    read_s = time.perf_counter() - start
    words = ", ".join(f"{one.hunch} {one.word}" for one in found.verdicts)
    print(f"H1 to H8 on {len(frame)} checks: {own_s:.2f} s, {own_s / read_s:.0f} x reading it")
    print(words)


if __name__ == "__main__":
    main()
