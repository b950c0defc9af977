"""The fit of a whole walk, ours and numpy + scipy's, side by side: speed and accuracy.

    python compare_traverse.py [--walks 12] [--rounds 9]

Needs numpy and scipy as in requirements.txt, and cargo. Makes walks of 128 looks over a sonde of 0.2 A m2 (three lanes
of 6 m, half a metre apart, two nodes 0.4 m apart, 5 pT/sqrt(Hz), ten looks a second), fits each with both from the same
start, in turns, and prints what a fit takes (the least of the rounds), the ratio, and the depth errors of both.

Ours is `host-sim/examples/fit_looks.rs`, built here, which times its fits inside the process. scipy's is
`scipy.optimize.least_squares` with residuals and exact Jacobian in numpy, without a loop (`walks.py`), timed inside this
process: methods `lm` (MINPACK) and `trf` (the default) where places are known; where they are not, their shifts are
unknowns too, and the fastest that solves it is `trf` with a sparse Jacobian. scipy's tolerances are its own.
"""

import argparse
import csv
import os
import subprocess
import tempfile
import time
from pathlib import Path

# With matrices this small, threads only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from scipy.optimize import least_squares

import walks

WORKSPACE = Path(__file__).resolve().parents[2]
NOISE_NT = 5e-3 * np.sqrt(10)
SPACING_M = 0.4
RATIO_SIGMA = 0.003
LOOKS = 128
DEPTHS_M = [1, 2, 3, 6]
# Sigma of a place east and north, and scipy's methods.
KNOWN = [{"method": "lm"}, {"method": "trf"}]
UNKNOWN = [{"method": "trf", "tr_solver": "lsmr", "x_scale": "jac"}]
POSES = [(0.0, KNOWN), (0.02, UNKNOWN)]


def walk(random, depth_m, pose_sigma_m):
    """Looks, start and truth."""
    lay, pitch = random.uniform(0, 2 * np.pi), np.radians(random.uniform(-15, 15))
    place_m = [*random.normal(0, 0.1, 2), -depth_m]
    truth = np.concatenate([place_m, walks.moment_of(0.2, lay, pitch), [RATIO_SIGMA * random.normal()]])
    at_m = walks.lanes(6.0, 0.5, 6.0 / 42)[:LOOKS]
    upper_m = np.tile([0, 0, SPACING_M], (LOOKS, 1))
    looks = walks.seen(random, truth, at_m, upper_m, NOISE_NT, 0.0, [pose_sigma_m, pose_sigma_m, 0])
    # Closed forms are good to a few per cent of the depth.
    start = np.concatenate([truth[:3] + depth_m * np.array([0.05, -0.07, 0.07]), 0.85 * truth[3:6] + 0.01])
    return looks.rounded(), start.astype(np.float32).astype(float), truth


def write(path, header, rows):
    with open(path, "w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows(rows)


class Ours:
    """The core's fit of all walks, in a process of its own."""

    def __init__(self, folder, made):
        subprocess.run(["cargo", "build", "--quiet", "--release", "-p", "nullwalk", "--example", "fit_looks"],
                       cwd=WORKSPACE, check=True)
        target = Path(os.environ.get("CARGO_TARGET_DIR", WORKSPACE / "target"))
        looks, starts = folder / "looks.csv", folder / "starts.csv"
        rows = [[n, *row] for n, (walk_looks, _, _) in enumerate(made) for row in walk_looks.rows()]
        write(looks, ["walk", *walks.LOOK_HEADER], rows)
        names = ["x_m", "y_m", "z_m", "mx_a_m2", "my_a_m2", "mz_a_m2", "ratio_sigma"]
        write(starts, names, [[*start, RATIO_SIGMA] for _, start, _ in made])
        self.command = [target / "release/examples/fit_looks", looks, starts, "50"]

    def fit_all(self):
        """Unknowns and seconds of each walk."""
        said = subprocess.run(self.command, check=True, capture_output=True, text=True).stdout
        table = np.genfromtxt(said.splitlines(), delimiter=",", skip_header=1)
        return table[:, : walks.SOURCE], table[:, walks.SOURCE]


def scipy_fit(looks, start, options):
    """Unknowns and seconds."""
    begun = time.perf_counter()
    problem = walks.Problem(looks, RATIO_SIGMA)
    jacobian = problem.sparse_jacobian if options.get("tr_solver") == "lsmr" else problem.plain_jacobian
    first = np.concatenate([start, np.zeros(1 + len(problem.of_look))])
    found = least_squares(problem.residuals, first, jac=jacobian, **options)
    return found.x[: walks.SOURCE], time.perf_counter() - begun


def scipy_sigmas(looks, unknowns):
    """Of the seven unknowns, from the information at what was found, the shifts at rest."""
    problem = walks.Problem(looks, RATIO_SIGMA)
    jacobian = problem.plain_jacobian(np.concatenate([unknowns, np.zeros(len(problem.of_look))]))
    return np.sqrt(np.diag(np.linalg.inv(jacobian.T @ jacobian)))[: walks.SOURCE]


def compare(name, made, methods, rounds):
    """Rows of the table for walks of one kind."""
    with tempfile.TemporaryDirectory() as folder:
        ours = Ours(Path(folder), made)
        own_seconds, seconds = [], [[] for _ in methods]
        found = [None] * len(methods)
        for _ in range(rounds):
            own, own_s = ours.fit_all()
            own_seconds.append(own_s)
            for k, options in enumerate(methods):
                fits = [scipy_fit(looks, start, options) for looks, start, _ in made]
                found[k] = np.array([unknowns for unknowns, _ in fits])
                seconds[k].append([s for _, s in fits])
    truths = np.array([truth for _, _, truth in made])

    def rms_mm(unknowns):
        return 1e3 * np.sqrt(np.mean((unknowns[:, 2] - truths[:, 2]) ** 2))

    # The least of the rounds: whatever else the machine does only adds to it.
    own_s = np.min(own_seconds, axis=0).mean()
    ratios = []
    for options, unknowns, taken in zip(methods, found, seconds):
        s = np.min(taken, axis=0).mean()
        sigmas = np.array([scipy_sigmas(looks, row) for (looks, _, _), row in zip(made, unknowns)])
        apart = np.max(np.abs(own - unknowns) / sigmas)
        ratios.append(s / own_s)
        print(f"{name} | {options['method']:6} | {1e3 * own_s:8.3f} | {1e3 * s:8.2f} | {s / own_s:7.0f} | "
              f"{rms_mm(own):8.3f} | {rms_mm(unknowns):8.3f} | {1e3 * np.mean(sigmas[:, 2]):8.3f} | {apart:8.4f}")
    return ratios


def main():
    options = argparse.ArgumentParser(description="The fit of a walk, ours and numpy + scipy's, side by side.")
    options.add_argument("--walks", type=int, default=12, help="walks of each kind")
    options.add_argument("--rounds", type=int, default=9, help="how often each is fitted by both, in turns")
    options = options.parse_args()
    random = np.random.default_rng(6)
    print("           |        | one fit, ms         |         | rms error of depth, mm         | apart at")
    print("poses      | method |     ours |    scipy |   ratio |     ours |    scipy | sigma    | most, sigmas")
    ratios = []
    for pose_sigma_m, methods in POSES:
        for depth_m in DEPTHS_M:
            made = [walk(random, depth_m, pose_sigma_m) for _ in range(options.walks)]
            name = f"{depth_m} m, {100 * pose_sigma_m:.0f} cm"
            ratios += compare(f"{name:10}", made, methods, options.rounds)
    print(f"ours is {min(ratios):.0f} to {max(ratios):.0f} times faster")


if __name__ == "__main__":
    main()
