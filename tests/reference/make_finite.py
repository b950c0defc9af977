"""finite_looks.csv, finite.json: what coils and sondes of real size do to the ratio depth and to the fit of a walk.

Source: fields by magpylib 6.3.0, free of noise. A coil reads the mean over its disc of the component along its axis
(Gauss-Legendre in radius squared, evenly in angle); the three coils of a node are at one place. The sonde of real size
is a uniformly magnetised rod of 0.2 m, 2 cm across, given to magpylib as a magnet. Its ratio depth overhead is checked
against that of two poles, l to either side, which is closed: R = ((d2^2 + l^2)/(d1^2 + l^2))^(3/2).

Depth is from the lower node; nodes 0.4 m apart; three lanes of six depths (6 m at most), half a depth (0.5 m at most)
apart, 21 looks each. Sigmas are the noise of 5 pT/sqrt(Hz) at ten looks a second, and 1 % of the field for gait and
calibration. The depth that a point dipole fitted to a walk has is scipy's (`walks.py`).

finite_looks.csv  number of the walk, then `walks.LOOK_HEADER`
finite.json       for each walk: coil radius, sonde length, depth; fields along the sonde at both nodes overhead (nT),
                  ratio depth from them; start, depth of the fitted point dipole and its sigma
"""

import magpylib
import numpy as np

import walks
from tables import write_csv, write_json

SPACING_M = 0.4
MOMENT_A_M2 = 0.2
SONDE_RADIUS_M = 0.01
RATIO_SIGMA = 0.003
NOISE_NT = 5e-3 * np.sqrt(10)
SIZES = [(0.05, 0.0), (0.10, 0.0), (0.0, 0.2), (0.05, 0.2)]
DEPTHS_M = [0.5, 1.0, 1.5, 2.0, 3.0]


def source(length_m):
    """A level sonde at the origin, along x."""
    if not length_m:
        return magpylib.misc.Dipole(moment=(MOMENT_A_M2, 0, 0))
    volume = np.pi * SONDE_RADIUS_M**2 * length_m
    rod = magpylib.magnet.Cylinder(magnetization=(0, 0, MOMENT_A_M2 / volume), dimension=(2 * SONDE_RADIUS_M, length_m))
    return rod.rotate_from_angax(90, "y")


def disc(radius_m):
    """Points of a disc about the origin across x, and their weights."""
    if not radius_m:
        return np.zeros((1, 3)), np.ones(1)
    node, weight = np.polynomial.legendre.leggauss(8)
    radius = radius_m * np.sqrt(0.5 * (node + 1))
    angle = 2 * np.pi * (np.arange(24) + 0.5) / 24
    points = [[0, r * np.cos(a), r * np.sin(a)] for r in radius for a in angle]
    return np.array(points), np.repeat(0.5 * weight, 24) / 24


def read(sonde, at_m, radius_m):
    """Field in nanotesla as three coils at each place read it."""
    points, weights = disc(radius_m)
    read_t = [
        sonde.getB(at_m[:, None] + np.roll(points, axis, axis=1)).reshape(len(at_m), -1, 3)[:, :, axis] @ weights
        for axis in range(3)
    ]
    return 1e9 * np.stack(read_t, axis=1)


def ratio_depth(lower_nt, upper_nt):
    return SPACING_M / ((lower_nt / upper_nt) ** (1 / 3) - 1)


def main():
    rows, entries = [], []
    for radius_m, length_m in SIZES:
        sonde = source(length_m)
        for depth_m in DEPTHS_M:
            overhead_m = np.array([[0, 0, depth_m], [0, 0, depth_m + SPACING_M]])
            lower_nt, upper_nt = read(sonde, overhead_m, radius_m)[:, 0]
            depth_read_m = ratio_depth(lower_nt, upper_nt)
            if not radius_m:
                k = ((depth_m + SPACING_M) ** 2 + length_m**2 / 4) / (depth_m**2 + length_m**2 / 4)
                closed_m = SPACING_M / (np.sqrt(k) - 1)
                assert abs(depth_read_m / closed_m - 1) < 5e-4, f"rod {depth_read_m}, two poles {closed_m}"

            length = min(6.0, 6 * depth_m)
            at_m = walks.lanes(length, min(0.5, 0.5 * depth_m), length / 20, height_m=depth_m)
            upper_m = np.tile([0, 0, SPACING_M], (len(at_m), 1))
            nodes_nt = [read(sonde, places_m, radius_m) for places_m in (at_m, at_m + upper_m)]
            strength = np.stack([np.linalg.norm(b, axis=1) for b in nodes_nt], axis=1)
            sigma_nt = np.sqrt(NOISE_NT**2 + (0.01 * strength) ** 2)
            looks = walks.Looks(at_m, upper_m, np.hstack(nodes_nt), sigma_nt, np.zeros(at_m.shape)).rounded()
            start = np.array([0.05 * depth_m, -0.05 * depth_m, 0.05 * depth_m, 0.18, 0.01, -0.01])
            found = walks.fit(looks, start, RATIO_SIGMA, robust=True)
            # The sonde is at the origin here, so what is found as its height is the error of the depth, negated.
            fitted_m, sigma_m = depth_m - found.unknowns[2], np.sqrt(found.covariance[2, 2])
            print(f"coil {radius_m} m, sonde {length_m} m, {depth_m} m: ratio {100 * (depth_read_m / depth_m - 1):+.2f} %, "
                  f"fit {100 * (fitted_m / depth_m - 1):+.3f} % (sigma {100 * sigma_m / depth_m:.2f}), "
                  f"chi2 {found.look_costs.sum():.1f}, largest {found.look_costs.max():.1f}, "
                  f"gain {100 * found.unknowns[6]:+.2f} %")
            rows += [[len(entries), *row] for row in looks.rows()]
            entries.append({
                "coil_radius_m": radius_m, "sonde_length_m": length_m, "depth_m": depth_m,
                "overhead_nt": [lower_nt, upper_nt], "ratio_depth_m": depth_read_m, "start": start.tolist(),
                "fitted_depth_m": fitted_m, "fitted_sigma_m": sigma_m,
            })
    write_csv("finite_looks.csv", ["walk", *walks.LOOK_HEADER], rows)
    write_json("finite.json", entries)


if __name__ == "__main__":
    main()
