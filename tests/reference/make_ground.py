"""ground_looks.csv, ground.json: a sonde in conducting ground, read by two nodes overhead and along a walk.

Source: empymod 2.6.1, magnetic dipole in a half-space below air (the problem of Wait 1951 and of Ward and Hohmann 1988).
Free space is checked against the plain dipole. The digital filters of its Hankel transform lose 1.7 % straight overhead,
so the overhead reading is 0.05 m aside, across the sonde, where the ratio formula with a miss is exact.

A level sonde of 0.2 A m2 along x; the lower node 0.1 m above the ground, the upper one 0.4 m higher; depth is from the
lower node. Every reading is turned by the common phase of its six components, arg(sum z^2)/2, and its real part taken.
Walks are three lanes of 6 m, half a metre apart, 21 looks each, free of noise; sigmas are those of 5 pT/sqrt(Hz) at ten
looks a second, and 1 % of the field. The depth of the point dipole in free space fitted to a walk is scipy's
(`walks.py`).

ground_looks.csv  number of the walk, then `walks.LOOK_HEADER`
ground.json       readings: conductivity (S/m), frequency, depth; real parts at lower and upper node (nT), ratio depth;
                  walks: the same three, start, depth of the fitted dipole and its sigma
"""

import empymod
import numpy as np

import walks
from tables import write_csv, write_json

SPACING_M = 0.4
HEIGHT_M = 0.1
ASIDE_M = 0.05
AIR_OHM_M = 2e14
MOMENT_A_M2 = 0.2
RATIO_SIGMA = 0.003
NOISE_NT = 5e-3 * np.sqrt(10)
CONDUCTIVITIES_S_PER_M = [0.01, 0.1, 1.0]
FREQUENCIES_HZ = [512.0, 2048.0, 8192.0]
DEPTHS_M = [1.0, 2.0, 3.0, 5.0]
WALKS = [(0.1, 8192.0), (1.0, 512.0), (1.0, 8192.0)]


def field(depth_m, places_m, height_m, ohm_m, frequency_hz):
    """Complex field in nanotesla at places `height_m` above the ground, the sonde `depth_m` below it; N x 3."""
    # empymod counts downwards.
    sonde = [0, 0, depth_m, 0, 0]
    components = []
    for azimuth_deg, dip_deg in ((0, 0), (90, 0), (0, -90)):
        receivers = [places_m[:, 0], places_m[:, 1], np.full(len(places_m), -height_m), azimuth_deg, dip_deg]
        components.append(empymod.loop(sonde, receivers, [0], [AIR_OHM_M, ohm_m], frequency_hz, verb=0))
    return 4e-7 * np.pi * 1e9 * MOMENT_A_M2 * np.stack([np.atleast_1d(c) for c in components], axis=1)


def readings(depth_m, places_m, ohm_m, frequency_hz):
    """Real parts at both nodes, turned by their common phase, nanotesla; N x 6."""
    below_m = depth_m - HEIGHT_M
    heights_m = (HEIGHT_M, HEIGHT_M + SPACING_M)
    z = np.hstack([field(below_m, places_m, height_m, ohm_m, frequency_hz) for height_m in heights_m])
    phase = 0.5 * np.angle((z**2).sum(axis=1, keepdims=True))
    return (z * np.exp(-1j * phase)).real


def ratio_depth(reading_nt):
    """With the miss taken into account, from the magnitudes."""
    lower, upper = np.linalg.norm(reading_nt[:3]), np.linalg.norm(reading_nt[3:])
    k1 = (lower / upper) ** (2 / 3) - 1
    return (SPACING_M + np.sqrt(SPACING_M**2 + k1 * (SPACING_M**2 - k1 * ASIDE_M**2))) / k1


def check_free_space():
    places_m = np.array([[0.05, 0, 0], [0, 0.05, 0], [0.7, -0.4, 0], [-2, 1.5, 0]])
    found = field(1.9, places_m, HEIGHT_M, AIR_OHM_M, 512.0)
    source = np.array([0, 0, -1.9 - HEIGHT_M, MOMENT_A_M2, 0, 0, 0])
    expected = walks.in_rows(walks.fields(source, walks.nodes(places_m, np.zeros((4, 3)))))[:, :3]
    gap = np.abs(found - expected).max() / np.abs(expected).max()
    assert gap < 1e-5, f"free space differs from the dipole by {gap:g}"


def reading_entries():
    aside = np.array([[0, ASIDE_M, 0]])
    for conductivity in CONDUCTIVITIES_S_PER_M:
        for frequency_hz in FREQUENCIES_HZ:
            for depth_m in DEPTHS_M:
                reading_nt = readings(depth_m, aside, 1 / conductivity, frequency_hz)[0]
                yield {
                    "conductivity_s_per_m": conductivity, "frequency_hz": frequency_hz, "depth_m": depth_m,
                    "lower_nt": reading_nt[:3].tolist(), "upper_nt": reading_nt[3:].tolist(),
                    "ratio_depth_m": ratio_depth(reading_nt),
                }


def walk_looks(depth_m, conductivity, frequency_hz):
    at_m = walks.lanes(6.0, 0.5, 0.3, height_m=HEIGHT_M)
    # Nowhere straight overhead.
    at_m[:, 1] += ASIDE_M
    fields_nt = readings(depth_m, at_m, 1 / conductivity, frequency_hz)
    strength = np.stack([np.linalg.norm(fields_nt[:, :3], axis=1), np.linalg.norm(fields_nt[:, 3:], axis=1)], axis=1)
    # The common phase leaves a sign open: the component along the sonde points back overhead.
    expected = walks.fields(np.array([0, 0, HEIGHT_M - depth_m, MOMENT_A_M2, 0, 0, 0]),
                            walks.nodes(at_m, np.array([0, 0, SPACING_M])))
    fields_nt *= np.sign((fields_nt * walks.in_rows(expected)).sum(axis=1, keepdims=True))
    upper_m = np.tile([0, 0, SPACING_M], (len(at_m), 1))
    sigma_nt = np.sqrt(NOISE_NT**2 + (0.01 * strength) ** 2)
    return walks.Looks(at_m, upper_m, fields_nt, sigma_nt, np.zeros(at_m.shape)).rounded()


def main():
    check_free_space()
    overhead = list(reading_entries())
    for e in overhead:
        print(f"{e['conductivity_s_per_m']} S/m, {e['frequency_hz']:.0f} Hz, {e['depth_m']} m: "
              f"ratio {100 * (e['ratio_depth_m'] / e['depth_m'] - 1):+.3f} %")
    rows, entries = [], []
    for conductivity, frequency_hz in WALKS:
        for depth_m in DEPTHS_M:
            looks = walk_looks(depth_m, conductivity, frequency_hz)
            place_m = np.array([0.05 * depth_m, -0.05 * depth_m, HEIGHT_M - 0.95 * depth_m])
            start = np.array([*place_m, 0.18, 0.01, -0.01])
            found = walks.fit(looks, start, RATIO_SIGMA, robust=True)
            fitted_m, sigma_m = HEIGHT_M - found.unknowns[2], np.sqrt(found.covariance[2, 2])
            print(f"{conductivity} S/m, {frequency_hz:.0f} Hz, {depth_m} m: walk {100 * (fitted_m / depth_m - 1):+.3f} % "
                  f"(sigma {100 * sigma_m / depth_m:.2f}), chi2 {found.look_costs.sum():.1f}")
            rows += [[len(entries), *row] for row in looks.rows()]
            entries.append({
                "conductivity_s_per_m": conductivity, "frequency_hz": frequency_hz, "depth_m": depth_m,
                "start": start.tolist(), "fitted_depth_m": fitted_m, "fitted_sigma_m": sigma_m,
            })
    write_csv("ground_looks.csv", ["walk", *walks.LOOK_HEADER], rows)
    write_json("ground.json", {"readings": overhead, "walks": entries})


if __name__ == "__main__":
    main()
