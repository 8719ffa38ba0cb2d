"""The pictures of the README, from the demonstration and an invented log.

Usage: .venv/bin/python notebooks/gallery/build.py [FOLDER]

Small on purpose: 900 dots wide, 64 colours. Each keeps its text in words.
"""

import io
import sys
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import numpy as np
from PIL import Image, PngImagePlugin

import farhear as fh
from farhear.charts import Picture

WIDE = 900
NAMES = ("evening", "season", "budget", "rays", "around", "openings", "answers", "nights")


def pictures() -> Iterator[Picture]:
    """Draw them, in the order of `NAMES`."""
    demo = files("farhear") / "data" / "demo"
    home = fh.read_station(demo / "station.toml")
    schedule = fh.read_schedule(demo / "schedule_b24.csv", days="iso", season="B24")
    plan = fh.plan(home, schedule, "2024-11-27")
    yield plan.plot.ladder()
    season = fh.season_study(home, schedule, "B24", step_days=7)
    yield season.farhear.plot.hours()
    weak = int(np.flatnonzero(plan.frame["likelihood"] < 0.5)[0])
    yield plan.plot.budget(weak)
    yield plan.plot.rays(0)
    yield schedule.plot.around(home, reach_km=6000.0)
    made = fh.simulate.season(
        np.random.default_rng(11),
        bands=["31 m", "41 m", "49 m"],
        evenings=75,
        first="2024-09-15",
        opening_min={"31 m": 25.0, "41 m": 45.0, "49 m": 60.0},
        noticing=0.9,
    )
    yield made.log.plot(made.station).openings("41 m")
    said = [
        fh.hunch.first_at_dusk(made.table, "31 m", "49 m"),
        fh.hunch.follows_sunset(made.table, "31 m"),
        fh.hunch.disturbed_nights(made.table, fh.load_indices()),
    ]
    yield Picture.of(fh.charts.forest, said)
    yield made.log.plot(made.station).raster("31 m")


def small(picture: Picture) -> bytes:
    """A picture as a small PNG with its words."""
    stream = io.BytesIO()
    picture.figure.savefig(stream, format="png", dpi=2.0 * WIDE / picture.figure.get_figwidth())
    with Image.open(stream) as drawn:
        high = round(drawn.height * WIDE / drawn.width)
        less = drawn.convert("RGB").resize((WIDE, high), Image.Resampling.LANCZOS).quantize(64)
    words = PngImagePlugin.PngInfo()
    words.add_itxt("Description", picture.alt)
    out = io.BytesIO()
    less.save(out, format="png", optimize=True, pnginfo=words)
    return out.getvalue()


def main() -> None:
    """Write all."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent
    for name, picture in zip(NAMES, pictures(), strict=True):
        data = small(picture)
        (folder / f"{name}.png").write_bytes(data)
        sys.stdout.write(f"{name}.png: {len(data) // 1000} kB. {picture.alt}\n")


if __name__ == "__main__":
    main()
