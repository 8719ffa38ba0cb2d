"""The ray equation integrated numerically, in numpy, on a profile built from its definition.

Nothing here is shared with the core: the tangent point of each joining piece is found by bisection
on its two conditions (equal value, equal slope), the turning point by bisection on Bouguer's law,
the integrals by Gauss-Legendre panels that shrink towards the turning point and towards every place
where the ray runs nearly level.
"""

import numpy as np

R0_KM = 6371.0
NODES, WEIGHTS = np.polynomial.legendre.leggauss(12)
PANELS = 16  # each half as wide as the one before


def half_layers(layers):
    """Layers as the header says they are used: (critical, peak, half thickness) upwards."""
    e, f1, f2 = layers["e"].copy(), layers["f1"].copy(), layers["f2"].copy()
    ledge = (f1[0] ** 2 > e[0] ** 2 + 1e-6) & (f1[1] > e[1]) & (f1[1] < f2[1])
    f1[0] = np.minimum(f1[0], 0.97 * f2[0])
    f1[2] = np.minimum(f1[2], 0.85 * (f1[1] - e[1]))
    e[0] = np.minimum(e[0], np.where(ledge, 0.9999 * f1[0], 0.97 * f2[0]))
    f2[2] = np.minimum(f2[2], 0.85 * (f2[1] - np.where(ledge, f1[1], e[1])))
    for layer in (e, f1):
        layer[2] = np.minimum(layer[2], R0_KM * layer[0] / (5 * f2[0]))
    return e, f1, f2, ledge


class Piece:
    """fN^2 = a + b (1 - rk/r)^2 from low to high, arrays over the rays. Empty where low = high."""

    def __init__(self, a, b, rk, low, high):
        self.a, self.b, self.rk, self.low, self.high = a, b, rk, low, high

    def value(self, r):
        """Square of the plasma frequency. [MHz^2]"""
        return self.a + self.b * (1 - self.rk / r) ** 2

    def slope(self, r):
        """Its derivative by r."""
        return 2 * self.b * (1 - self.rk / r) * self.rk / r**2

    def rise(self, r, step):
        """value(r + step) - value(r), without the loss of figures of a plain difference."""
        other = r + step
        return self.b * self.rk * step / (r * other) * (2 - self.rk / r - self.rk / other)

    def at(self, who):
        """The piece of some rays, with a trailing axis for nodes."""
        return Piece(*(x[who, None] for x in (self.a, self.b, self.rk, self.low, self.high)))


def bisect(function, low, high, rounds=80):
    """Where a function goes from positive at low to negative at high, elementwise."""
    low, high = np.array(low, float), np.array(high, float)
    for _ in range(rounds):
        middle = 0.5 * (low + high)
        positive = function(middle) > 0
        low, high = np.where(positive, middle, low), np.where(positive, high, middle)
    return 0.5 * (low + high)


def layer(fc, hm, ym):
    """A layer by itself, from its base to its peak."""
    rk = R0_KM + hm
    base = rk - ym
    return Piece(fc**2, -((fc * base / ym) ** 2), rk, base, rk)


def joined(below, above):
    """The inverted piece with its apex on the peak below, and the layer above from there on."""
    apex = below.rk

    def excess(r):  # by how much the tangent piece through this point rises too fast
        return above.slope(r) * (1 - apex / r) - 2 * (above.value(r) - below.a) * apex / r**2

    # at the apex: minus twice a negative number; at the peak above: minus twice a positive one
    touch = bisect(excess, apex * (1 + 1e-12), above.rk)
    b = (above.value(touch) - below.a) / (1 - apex / touch) ** 2
    return (
        Piece(below.a, b, apex, apex, touch),
        Piece(above.a, above.b, above.rk, touch, above.rk),
    )


def profile(layers):
    """The pieces; those of a missing F1 layer are empty."""
    e, f1, f2, ledge = half_layers(layers)
    bottom = layer(*e)
    f1_used = np.where(ledge, f1, np.array([e[0] * 1.05, e[1] + 20.0, np.full_like(e[0], 15.0)]))
    top = layer(*f2)
    direct = joined(bottom, top)
    to_f1, middle = joined(bottom, layer(*f1_used))
    stepped = joined(middle, top)
    for piece in (to_f1, middle):
        piece.low = np.where(ledge, piece.low, bottom.high)
        piece.high = np.where(ledge, piece.high, bottom.high)
    upper = [
        Piece(
            *(
                np.where(ledge, getattr(s, n), getattr(d, n))
                for n in ("a", "b", "rk", "low", "high")
            )
        )
        for s, d in zip(stepped, direct, strict=True)
    ]
    return [bottom, to_f1, middle, *upper], ledge


def plasma_mhz2(pieces, height_km):
    """FN^2 at one height a profile; 0 outside."""
    r = R0_KM + height_km
    out = np.zeros_like(r)
    for p in pieces:
        inside = (r >= p.low) & (r <= p.high) & (p.high > p.low)
        out = np.where(inside, p.value(r), out)
    return out


def panels(length, count):
    """Points and weights between 0 and a length, panels halving towards 0."""
    edges = np.concatenate([[0.0], 0.5 ** np.arange(count - 1, -1, -1)])
    x = (edges[:-1, None] + np.diff(edges)[:, None] * (NODES + 1) / 2).ravel()
    w = (np.diff(edges)[:, None] * WEIGHTS / 2).ravel()
    return length[:, None] * x, length[:, None] * w


def turning_point(p, freq, k_km):
    """Radius where a ray first turns in a piece (NaN: it passes), and where it is nearest to it."""

    def room(r):
        return r**2 * (1 - p.value(r) / freq**2) - k_km**2

    def slope(r):
        return 2 * r * (1 - p.value(r) / freq**2) - r**2 * p.slope(r) / freq**2

    at_low, at_high = slope(p.low), slope(p.high)
    # a layer has least room inside or at its top, a joining piece at one of its ends
    inside = bisect(lambda r: -slope(r), p.low, p.high)
    ends = np.where(room(p.high) < room(p.low), p.high, p.low)
    least = np.where(at_low < 0, np.where(at_high > 0, inside, p.high), ends)
    most = np.where((at_low > 0) & (at_high < 0), bisect(slope, p.low, p.high), p.low)
    return np.where(room(least) < 0, bisect(room, most, least), np.nan), least


def trace(pieces, freq, elevation_deg, value=None, count=PANELS):
    """Ground range, group path, turning height, index of the piece; NaN where the ray goes through.

    `value(rays, r)` replaces the profile's values in the integrands; differences then lose figures
    near the turning point, and fewer panels are better.
    """
    elevation = np.radians(elevation_deg)
    k = R0_KM * np.cos(elevation)
    base = pieces[0].low
    angle = np.arccos(k / base) - elevation
    path = np.sqrt(base**2 - k**2) - R0_KM * np.sin(elevation)
    turning, where = np.full(freq.size, np.nan), np.full(freq.size, -1)

    def add(whole, rays, start, step, w, room=None):
        """Integrals from a start on; `room` there is given where it is better known."""
        piece, r0, kk, f2 = whole.at(rays), start[:, None], k[rays, None], freq[rays, None] ** 2
        r = r0 + step
        if value is None:
            at_start = 1 - piece.value(r0) / f2
            x = r0**2 * at_start - kk**2 if room is None else room
            x = x + step * (2 * r0 + step) * at_start - r**2 * piece.rise(r0, step) / f2
        else:
            x = r**2 * (1 - value(rays, r) / f2) - kk**2
        x = np.maximum(x, 1e-12)
        angle[rays] += np.sum(w * kk / (r * np.sqrt(x)), axis=1)
        path[rays] += np.sum(w * r / np.sqrt(x), axis=1)

    for i, whole in enumerate(pieces):
        rays = np.flatnonzero(np.isnan(turning) & (whole.high > whole.low))
        top, least = (
            v[:, 0] for v in turning_point(whole.at(rays), freq[rays, None], k[rays, None])
        )
        stay = ~np.isnan(top)
        turning[rays[stay]], where[rays[stay]] = top[stay] - R0_KM, i
        low, high = whole.low[rays], whole.high[rays]
        half = 0.5 * (low + np.where(stay, top, least))
        # from the lower end, where a ray may come level out of the layer below, half way up
        step, w = panels(half - low, count)
        add(whole, rays, low, step, w)
        # down to there from the turning point; r = top - u^2 takes the root out of the integrand
        u, w = panels(np.sqrt(top - half)[stay], count)
        add(whole, rays[stay], top[stay], -(u**2), 2 * u * w, room=0.0)
        # or from the narrowest place, to both sides
        for stop in (half, high):
            step, w = panels((stop - least)[~stay], count)
            add(whole, rays[~stay], least[~stay], step, np.abs(w))
    gone = np.isnan(turning)
    angle[gone] = path[gone] = np.nan
    return 2 * R0_KM * angle, 2 * path, turning, where
