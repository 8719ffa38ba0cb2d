"""Speed of the maps against PyIRI, in one run: ``python tests/bench/bench_ionosphere.py``."""

import numpy as np
import PyIRI
import PyIRI.igrf_library as pyiri_igrf
import PyIRI.main_library as iri
from _timing import QUICK, best_s, row

from farhear import _core, ionosphere, magnetic
from farhear._core_models import maps

STEP_DEG = 10.0 if QUICK else 1.0
HOURS = np.arange(24.0)


class TimeMaps:
    """foF2 and M(3000)F2 on a globe x 24 hours, one month, one index."""

    def setup(self) -> None:
        lat, lon = np.meshgrid(
            np.arange(-90.0, 90.1, STEP_DEG), np.arange(-180.0, 180.0, STEP_DEG), indexing="ij"
        )
        self.lat, self.lon = lat.ravel(), lon.ravel()
        self.height = np.full(self.lat.size, 300.0)
        self.modip = magnetic.field(self.lat, self.lon, 300.0, 2012.5).modip_deg
        self.index = np.full(24, 60.0)
        # as shipped the coefficients are object arrays, an unfair ten-fold slowness: cast them
        fof2, _, m3000, es = iri.read_ccir_ursi_coeff(3, PyIRI.coeff_dir)
        self.theirs = [np.asarray(a, dtype=np.float64) for a in (fof2, m3000, es)]

    def time_core(self) -> tuple[np.ndarray, np.ndarray]:
        return _core.ionosphere.product(
            maps(), self.lat, self.lon, self.modip, [3] * 24, HOURS, self.index
        )

    def time_face(self) -> ionosphere.MonthlyMaps:
        return ionosphere.monthly_maps(3, HOURS, self.lat, self.lon, self.modip, 60.0)

    def time_core_with_modip(self) -> tuple[np.ndarray, np.ndarray]:
        modip = magnetic.field(self.lat, self.lon, self.height, 2012.5).modip_deg
        return _core.ionosphere.product(
            maps(), self.lat, self.lon, modip, [3] * 24, HOURS, self.index
        )

    def time_pyiri(self) -> object:
        series = iri.diurnal_functions(HOURS)
        geographic = iri.set_gl_G(self.lon, self.lat, self.modip)
        fof2, m3000, _ = iri.gamma(*series, *geographic, *self.theirs)
        return fof2 * 0.4 + m3000

    def time_pyiri_with_modip(self) -> object:
        dip = pyiri_igrf.inclination(PyIRI.coeff_dir, 2012.5, self.lon, self.lat)
        pyiri_igrf.inc2modip(dip, self.lat)
        return self.time_pyiri()

    def time_characteristics(self) -> object:
        step = slice(None, None, 10)
        return ionosphere.characteristics(_MARCH[:, None], self.lat[step], self.lon[step], 110.0)


def _march() -> object:
    from farhear import utc

    hours = np.datetime64("2012-03-16") + np.arange(24).astype("timedelta64[h]")
    return utc(hours, naive_is_utc=True)


_MARCH = _march()


def main() -> None:
    case = TimeMaps()
    case.setup()
    n = case.lat.size * 24
    np.testing.assert_allclose(  # the same numbers, or the race means nothing
        case.time_face().fof2_mhz[5, :50],
        np.squeeze(
            iri.gamma(
                *iri.diurnal_functions(HOURS[5:6]),
                *iri.set_gl_G(case.lon[:50], case.lat[:50], case.modip[:50]),
                *case.theirs,
            )[0]
        )
        @ [0.4, 0.6],
        atol=1e-9,
    )
    print(f"{case.lat.size} places x 24 hours, processor time, best of some runs")
    theirs = best_s(case.time_pyiri, repeats=2) / n
    theirs_all = best_s(case.time_pyiri_with_modip, repeats=1) / n
    row("PyIRI maps, float64, modip given (3 maps, 2 levels)", theirs * n, n)
    row("PyIRI dip, modip and maps", theirs_all * n, n)
    row("core maps, modip given", best_s(case.time_core), n, "PyIRI maps", theirs)
    row("Python face, modip given", best_s(case.time_face), n, "PyIRI maps", theirs, asked=80.0)
    row("field, modip and maps", best_s(case.time_core_with_modip), n, "PyIRI all", theirs_all)
    tenth = case.lat[::10].size * 24
    row("all layers (foE, foF1, hmF2 too)", best_s(case.time_characteristics, 2), tenth)


if __name__ == "__main__":
    main()
