"""traverse_looks.csv, traverse.json: dipoles fitted to whole walks by scipy, for the core's fit to be held against.

Source: scipy.optimize.least_squares 1.17.1 on the problem of `walks.py`, with every uncertain place an unknown of its
own (up to 263 unknowns). The field and its slopes are checked here against magpylib 6.3.0 and by complex step. What
is minimised is Huber's loss of each look's sum of squares (Huber 1964): plain least squares where no look is beyond.

traverse_looks.csv  the looks of all walks, exact in 32-bit floats: number of the walk, then `walks.LOOK_HEADER`
traverse.json       for each walk: the start, the sigma of the nodes' gain ratio, the truth, what scipy found, its
                    covariance, the sum of squares of all looks (of one, no more than Huber's threshold), looks beyond it
"""

import magpylib
import numpy as np

import walks
from tables import write_csv, write_json

NOISE_NT = 5e-3 * np.sqrt(10)  # 5 pT/sqrt(Hz), ten looks a second
SPACING_M = 0.4

# depth m, pitch deg, pose sigma m (east and north, up), noise as a share of the field, looks disturbed
CASES = [
    (0.6, 0, (0, 0), 0.0, 0),
    (1.0, 10, (0, 0), 0.0, 0),
    (1.5, 20, (0, 0), 0.005, 0),
    (2.0, 30, (0, 0), 0.0, 0),
    (3.0, 5, (0, 0), 0.005, 0),
    (4.5, 15, (0, 0), 0.0, 0),
    (6.0, 0, (0, 0), 0.0, 0),
    (0.6, 10, (0.01, 0), 0.005, 0),
    (1.0, 0, (0.02, 0.005), 0.005, 0),
    (1.5, 30, (0.01, 0), 0.0, 0),
    (2.0, 20, (0.02, 0.005), 0.005, 0),
    (3.0, 10, (0.05, 0.01), 0.0, 0),
    (6.0, 5, (0.3, 0.05), 0.0, 0),
    (2.0, 15, (0.3, 0.01), 0.005, 0),
    (1.5, 10, (0, 0), 0.0, 8),
    (2.0, 5, (0.02, 0.005), 0.005, 8),
]


def check_model(random):
    """Fields against magpylib, slopes by complex step."""
    source = np.concatenate([random.normal(size=3), random.normal(size=3), [0.02]])
    at_m = random.normal(size=(50, 3)) + [0, 0, 4]
    upper_m = np.array([0.05, -0.03, 0.4]) + 0.01 * random.normal(size=(50, 3))
    sonde = magpylib.misc.Dipole(moment=source[3:6], position=source[:3])
    reference = 1e9 * np.hstack([sonde.getB(at_m), 1.02 * sonde.getB(at_m + upper_m)])
    nodes_m = walks.nodes(at_m, upper_m)
    gap = np.abs(walks.in_rows(walks.fields(source, nodes_m)) - reference).max() / np.abs(reference).max()
    assert gap < 1e-8, f"fields differ from magpylib's by {gap:g}"
    exact = walks.slopes(source, nodes_m)
    for n in range(walks.SOURCE):
        moved = source.astype(complex)
        moved[n] += 1e-30j
        step = walks.fields(moved, nodes_m).imag / 1e-30
        assert np.allclose(exact[n], step, rtol=1e-10, atol=1e-10 * np.abs(step).max())


def walk(random, depth_m, pitch_deg, pose_sigma_m, relative, disturbed):
    """Looks of three lanes somehow across, with a swaying mast, and the truth."""
    strength = random.uniform(0.1, 0.4)
    moment = walks.moment_of(strength, random.uniform(0, 2 * np.pi), np.radians(pitch_deg))
    ratio_sigma = 0.003
    place_m = np.array([*random.normal(0, 0.1 * depth_m, 2), -depth_m])
    source = np.concatenate([place_m, moment, [ratio_sigma * random.normal()]])
    length_m = min(6.0, 4 * depth_m)
    at_m = walks.lanes(length_m, min(0.5, 0.5 * depth_m), length_m / 30)
    at_m[:, 2] = random.normal(0, 0.01, len(at_m))
    at_m = walks.turned(at_m, random.uniform(0, 2 * np.pi))
    lean = random.normal(0, np.radians(3), (len(at_m), 2))
    upper_m = SPACING_M * np.stack([lean[:, 0], lean[:, 1], np.sqrt(1 - (lean**2).sum(axis=1))], axis=1)
    east_north, up = pose_sigma_m
    looks = walks.seen(random, source, at_m, upper_m, NOISE_NT, relative, [east_north, east_north, up])
    for n in random.choice(len(at_m), disturbed, replace=False):
        looks.fields_nt[n] += random.uniform(10, 40) * looks.sigma_nt[n].repeat(3) * random.normal(size=6)
    return looks.rounded(), source, ratio_sigma


def main():
    random = np.random.default_rng(6)
    check_model(random)
    rows, entries = [], []
    for number, case in enumerate(CASES):
        depth_m, _, _, _, disturbed = case
        looks, truth, ratio_sigma = walk(random, *case)
        off = np.array([0.05, -0.07, 0.07]) * depth_m
        start = np.concatenate([truth[:3] + off, 0.85 * truth[3:6] + 0.02]).astype(np.float32).astype(float)
        found = walks.fit(looks, start, ratio_sigma, robust=True)
        again = walks.fit(looks, truth[:6], ratio_sigma, robust=True)
        sigmas = np.sqrt(np.diag(found.covariance))
        gap = np.abs(found.unknowns - again.unknowns) / sigmas
        assert gap.max() < 1e-3, f"walk {number}: two starts end {gap.max():g} sigmas apart"
        largest = found.look_costs.max()
        beyond = int((found.look_costs > walks.HUBER).sum())
        z = (found.unknowns - truth) / sigmas
        print(f"{number:2} {depth_m} m: {len(looks.at_m)} looks, largest {largest:.1f}, "
              f"beyond {beyond}, depth sigma {1e3 * sigmas[2]:.2f} mm, worst {np.abs(z).max():.1f} sigma off")
        rows += [[number, *row] for row in looks.rows()]
        entries.append({
            "depth_m": depth_m, "disturbed": disturbed, "start": start.tolist(), "node_ratio_sigma": ratio_sigma,
            "truth": truth.tolist(), "unknowns": found.unknowns.tolist(), "covariance": found.covariance.tolist(),
            "chi_square": np.minimum(found.look_costs, walks.HUBER).sum(), "beyond": beyond,
        })
    write_csv("traverse_looks.csv", ["walk", *walks.LOOK_HEADER], rows)
    write_json("traverse.json", entries)


if __name__ == "__main__":
    main()
