"""Landmarks of a sonde's field, found by searching magpylib fields and not from closed forms.

level_sonde.csv   level and upright sonde: nulls, side peaks, vertical maxima, total field
tilted_sonde.csv  pitched sonde: where along the lay the nulls, peaks and zeros lie

Source: magpylib 6.3.0 fields, scipy 1.17.1 root finding and minimisation. Lengths are in units of the
depth (1 m is used), fields relative to the level sonde's field overhead. Positive pitch: the end of
the sonde in the direction of positive x is raised.
"""

import magpylib
import numpy as np
from scipy.optimize import brentq, minimize_scalar

from tables import write_csv

SPACING_M = 0.4
FINE = {"xatol": 1e-12}


def field(pitch_deg, x, height=1.0):
    """Field of a sonde of 1 A m2 at the origin, x along the lay and `height` above."""
    pitch = np.radians(pitch_deg)
    sonde = magpylib.misc.Dipole(moment=(np.cos(pitch), 0, np.sin(pitch)))
    return sonde.getB((x, 0, height))


def axial(pitch_deg, x):
    return field(pitch_deg, x)[0]


def vertical(pitch_deg, x):
    return field(pitch_deg, x)[2]


def total(pitch_deg, x, height=1.0):
    return np.linalg.norm(field(pitch_deg, x, height))


def highest(function, low, high):
    """Place of the one maximum of |function| between two bounds, and its value.

    A scan over 2001 points picks the bracket, so that a lower maximum in the range does no harm.
    """
    grid = np.linspace(low, high, 2001)
    k = int(np.argmax([abs(function(x)) for x in grid]))
    assert 0 < k < 2000, "the maximum lies on a bound"
    found = minimize_scalar(lambda x: -abs(function(x)), bounds=(grid[k - 1], grid[k + 1]),
                            method="bounded", options=FINE)
    return found.x, -found.fun


def level_rows():
    overhead = abs(axial(0, 0.0))
    side_x, side = highest(lambda x: axial(0, x), 0.9, 2.0)
    vertical_x, vertical_max = highest(lambda x: vertical(0, x), 0.1, 1.5)
    yield "overhead_t", overhead
    yield "axial_null_x", brentq(lambda x: axial(0, x), 0.3, 1.2, xtol=1e-14)
    yield "axial_side_peak_x", side_x
    yield "axial_side_peak_ratio", side / overhead
    yield "vertical_peak_x", vertical_x
    yield "vertical_peak_ratio", vertical_max / overhead
    for x in (0.1, 0.25, 0.5, 1.0, 2.0):
        yield f"total_ratio_at_{x:g}", total(0, x) / overhead
    yield "upright_vertical_null_radius", brentq(lambda x: vertical(90, x), 0.5, 3.0, xtol=1e-14)
    yield "upright_horizontal_peak_radius", highest(lambda x: axial(90, x), 0.1, 1.5)[0]


def tilted_row(pitch):
    back = brentq(lambda x: axial(pitch, x), -3.0, -0.3, xtol=1e-14)
    ahead = brentq(lambda x: axial(pitch, x), 0.1, 1.5, xtol=1e-14)
    zero = brentq(lambda x: vertical(pitch, x), -0.9, 0.4, xtol=1e-14)
    peak, _ = highest(lambda x: axial(pitch, x), back, ahead)
    # Untilted, the total field has a quartic-flat top at zero that no search finds sharply.
    total_max = highest(lambda x: total(pitch, x), -1.0, 1.0)[0] if pitch else 0.0
    ratio = total(pitch, peak) / total(pitch, peak, 1.0 + SPACING_M)
    depth = SPACING_M / (ratio ** (1 / 3) - 1)
    return [pitch, back, ahead, np.sqrt(0.5) * (ahead - back), zero, peak, total_max, 2 * peak - zero, depth]


def main():
    write_csv("level_sonde.csv", ["quantity", "value"], level_rows())
    write_csv(
        "tilted_sonde.csv",
        ["pitch_deg", "null_back", "null_ahead", "null_depth", "vertical_null", "axial_peak",
         "total_peak", "two_p_minus_v", "total_ratio_depth_at_peak"],
        [tilted_row(a) for a in (0, 5, 10, 20, 30, 45)],
    )
    print("level_sonde.csv, tilted_sonde.csv")


if __name__ == "__main__":
    main()
