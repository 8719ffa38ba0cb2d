"""Rays through quasi-parabolic pieces in numpy, over all rays at once: the same closed form.

Source: Croft and Hoogasian, Radio Science 3(1), 1968; Dyson and Bennett, JATP 50, 1988. A profile
is E, a joining piece, F2; or with F1 and one more joining piece in between.
"""

import numpy as np

R0_KM = 6371.0


def layer(fc, hm, ym):
    """A, b, rk and base of a layer."""
    rk = R0_KM + hm
    return fc**2, -((fc * (rk - ym) / ym) ** 2), rk, rk - ym


def pieces(layers):
    """(a, b, rk, low, high) upwards, each an array over the rays."""
    a, b, rk, base = layer(*layers[0])
    out = [(a, b, rk, base, rk)]
    for one in layers[1:]:
        above_a, above_b, above_rk, _ = layer(*one)
        apex, below_a = out[-1][2], out[-1][0]
        q = (below_a - above_a) / (above_b * (1 - above_rk / apex))
        touch = above_rk / (1 - q)
        joint = above_b * above_rk * (1 - above_rk / touch) / (apex * (1 - apex / touch))
        out.append((below_a, joint, apex, apex, touch))
        out.append((above_a, above_b, above_rk, touch, above_rk))
    return out


def trace(layers, freq_mhz, elevation_deg):
    """Ground range, group path and turning height [km]; NaN where a ray goes through."""
    elevation = np.radians(elevation_deg)
    k = R0_KM * np.cos(elevation)
    inverse = freq_mhz**-2
    profile = pieces(layers)
    base = profile[0][3]
    angle = np.arccos(k / base) - elevation
    path = np.sqrt(base**2 - k**2) - R0_KM * np.sin(elevation)
    turning = np.full_like(angle, np.nan)
    going = np.ones(angle.shape, bool)
    for a, b, rk, low, high in profile:
        aa, bb = 1 - (a + b) * inverse, 2 * b * rk * inverse
        cc = -b * rk**2 * inverse - k**2
        root = np.sqrt(np.maximum(bb**2 - 4 * aa * cc, 0.0))
        # of a layer the smaller root, of a joining piece the larger one
        exit_km = np.where(bb < 0, 2 * cc / (root - bb), (-bb - root) / (2 * aa))
        meets = (bb**2 > 4 * aa * cc) & (exit_km >= low) & (exit_km < high) & ((bb < 0) | (aa < 0))
        top = np.where(meets, exit_km, high)
        x1 = np.sqrt(np.maximum((aa * low + bb) * low + cc, 0.0))
        x2 = np.where(meets, 0.0, np.sqrt(np.maximum((aa * top + bb) * top + cc, 0.0)))
        y1, y2 = bb * low + 2 * cc, bb * top + 2 * cc
        root_c = np.sqrt(np.abs(cc))
        by_log = np.log((2 * root_c * x1 + y1) * top / ((2 * root_c * x2 + y2) * low))
        by_arc = np.arctan2(y2, 2 * root_c * x2) - np.arctan2(y1, 2 * root_c * x1)
        d_angle = k * np.where(cc > 0, by_log, by_arc) / root_c
        s1, s2 = 2 * aa * low + bb, 2 * aa * top + bb
        root_a = np.sqrt(np.abs(aa))
        by_log = np.log(np.abs((2 * root_a * x2 + s2) / (2 * root_a * x1 + s1)))
        by_arc = np.arctan2(s1, 2 * root_a * x1) - np.arctan2(s2, 2 * root_a * x2)
        simple = np.where(aa > 0, by_log, by_arc) / root_a
        d_path = (x2 - x1) / aa - 0.5 * bb / aa * simple
        angle += np.where(going, d_angle, 0.0)
        path += np.where(going, d_path, 0.0)
        turning = np.where(going & meets, top - R0_KM, turning)
        going &= ~meets
    angle[going] = path[going] = np.nan
    return 2 * R0_KM * angle, 2 * path, turning
