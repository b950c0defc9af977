"""paced.csv: instants at which a lane at an even pace passes the landmarks of a sonde.

Source: magpylib 6.3.0 fields along the lane, scipy 1.17.1 root finding and minimisation; no closed form of a
landmark is used. The lane runs along the lay, over the sonde, and the coils are carried at one height.

misfit_limits.csv: upper 1 % points of chi-square.

Source: `scipy.stats.chi2.ppf`, scipy 1.17.1.
"""

import magpylib
import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import chi2

from tables import write_csv

PITCHES_DEG = (-30, -20, -10, -5, 0, 2, 5, 10, 15, 20, 25, 30)
WALKS_PER_PITCH = 5


def zeros(function, low, high, count):
    """All zeros of a function between two bounds, by their sign changes on a fine grid."""
    grid = np.linspace(low, high, 4000)
    values = function(grid)
    found = [brentq(lambda x: function(np.array([x]))[0], grid[k], grid[k + 1], xtol=1e-13)
             for k in np.flatnonzero(values[:-1] * values[1:] < 0)]
    assert len(found) == count, f"{found}"
    return found


def extrema(function, low, high, count):
    """All inner extrema between two bounds."""
    # Not symmetric, or the two samples beside the top of a level sonde's peak would be the same.
    grid = np.linspace(low, 1.01 * high, 4000)
    values = function(grid)
    turns = np.flatnonzero(np.diff(np.sign(np.diff(values))) != 0) + 1
    found = []
    for k in turns:
        sign = -np.sign(values[k] - values[k - 1])
        best = minimize_scalar(lambda x: sign * function(np.array([x]))[0] * 1e9,
                               bounds=(grid[k - 1], grid[k + 1]), method="bounded", options={"xatol": 1e-12})
        found.append(best.x)
    assert len(found) == count, f"{found}"
    return found


def walk(random, pitch_deg):
    depth, pace = random.uniform(0.5, 6.0), random.uniform(0.2, 1.4)
    overhead = random.uniform(1.0, 30.0)
    pitch = np.radians(pitch_deg)
    sonde = magpylib.misc.Dipole(moment=(np.cos(pitch), 0, np.sin(pitch)))

    def component(axis):
        def along(x):
            points = np.stack([x, np.zeros_like(x), np.full_like(x, depth)], axis=1)
            # A single point comes back without its own axis.
            return sonde.getB(points).reshape(-1, 3)[:, axis] * depth**3
        return along

    reach = 2.5 * depth
    before, after = zeros(component(0), -reach, reach, 2)
    side_before, peak, side_after = extrema(component(0), -reach, reach, 3)
    # A tilted sonde has a second vertical null far out, beyond the extrema.
    up_before, up_after = extrema(component(2), -1.5 * depth, 1.5 * depth, 2)
    vertical_null, = zeros(component(2), up_before, up_after, 1)
    places = [before, after, peak, side_before, side_after, vertical_null, up_before, up_after]
    return [pitch_deg, depth, pace, overhead, *(overhead + x / pace for x in places)]


def main():
    random = np.random.default_rng(71)
    rows = [walk(random, pitch) for pitch in PITCHES_DEG for _ in range(WALKS_PER_PITCH)]
    header = ["pitch_deg", "depth_m", "pace_m_per_s", "overhead_s", "null_before_s", "null_after_s", "peak_s",
              "side_before_s", "side_after_s", "vertical_null_s", "vertical_before_s", "vertical_after_s"]
    write_csv("paced.csv", header, rows)
    write_csv("misfit_limits.csv", ["freedom", "upper_1_percent"], [[n, chi2.ppf(0.99, n)] for n in range(1, 6)])
    print(f"paced.csv: {len(rows)} lanes; misfit_limits.csv")


if __name__ == "__main__":
    main()
