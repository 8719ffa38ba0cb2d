"""Band names."""

import numpy as np

from farhear import band


def test_edges_belong_to_the_band_and_the_gap_of_60_m_does_not():
    # ITU Radio Regulations, Article 5; the gap around 5000 kHz (time signals) from memory.
    freq_khz = [5900.0, 6200.0, 5899.0, 4995.0, 5000.0, 5005.0, 15800.0, 15805.0, np.nan]
    expected = ["49 m", "49 m", "other", "60 m", "other", "60 m", "19 m", "other", "other"]
    assert band.name_of(freq_khz).tolist() == expected


def test_scalar_and_shape():
    assert band.name_of(9500.0) == "31 m"
    assert band.name_of([[9500.0], [7000.0]]).shape == (2, 1)


def test_bands_are_in_order_and_do_not_overlap():
    edges = [edge for b in band.BANDS for segment in b.segments_khz for edge in segment]
    assert edges == sorted(edges)  # segments of one band may touch
    assert len({b.name for b in band.BANDS}) == 14
