"""line_looks.csv, line.json: long lines fitted to whole walks by scipy, for the core's fit to be held against.

Written from Ampere's law (Griffiths, Introduction to Electrodynamics, ch. 5), in another language and with another solver
than the core's: scipy.optimize.least_squares 1.17.1, every uncertain place an unknown like any other, in units of its
sigma. The field is checked here against magpylib 6.3.0 with a wire of 2 x 200 km. What is minimised is Huber's loss of
each look's sum of squares, as in `walks.py`. The bound on the depth is that of the Fisher matrix at the truth.

unknowns   how far to the left (y) and up (z) the line is at x = 0; lay and slope, radians; current, A; relative excess
           gain of the upper node; shifts of the places

line_looks.csv  the looks of all walks: number of the walk, then `walks.LOOK_HEADER`
line.json       for each walk: sigma of the nodes' gain ratio, depth of the line at x = 0 and its sigma, lay, current, gain,
                covariance of the six, sum of squares (of one look no more than Huber's threshold), looks beyond it,
                Cramer-Rao bound of the depth at the truth
"""

import magpylib
import numpy as np
from scipy.optimize import least_squares

import walks
from tables import write_csv, write_json

NOISE_NT = 5e-3 * np.sqrt(10)  # 5 pT/sqrt(Hz), ten looks a second
UP_M = np.array([0, 0, 0.4])
UNKNOWNS = 6

# depth m, pose sigma m (east and north, up), noise as a share of the field, looks disturbed
CASES = [
    (0.5, (0, 0), 0.0, 0),
    (1.0, (0, 0), 0.0, 0),
    (2.0, (0, 0), 0.005, 0),
    (3.0, (0, 0), 0.0, 0),
    (4.0, (0, 0), 0.0, 0),
    (0.7, (0.01, 0.005), 0.005, 0),
    (1.5, (0.02, 0.005), 0.0, 0),
    (3.0, (0.05, 0.01), 0.0, 0),
    (1.5, (0, 0), 0.0, 8),
    (2.0, (0.02, 0.005), 0.005, 8),
]


def field(source, points_m):
    """Nanotesla; N x 3."""
    left, up, lay, slope, current = source[:5]
    axis = np.array([np.cos(lay) * np.cos(slope), np.sin(lay) * np.cos(slope), np.sin(slope)])
    r = points_m - np.array([0, left, up])
    p = r - np.outer(r @ axis, axis)
    return 200 * current * np.cross(axis, p) / (p**2).sum(axis=1, keepdims=True)


def fields(source, at_m, upper_m):
    return np.hstack([field(source, at_m), (1 + source[5]) * field(source, at_m + upper_m)])


class Problem:
    def __init__(self, looks, ratio_sigma):
        self.looks, self.ratio_sigma = looks, ratio_sigma
        self.of_look, self.of_axis = np.nonzero(looks.pose_sigma_m)
        self.weights = 1 / np.repeat(looks.sigma_nt, 3, axis=1)
        self.scale = np.array([1, 1, 1, 1, 0.01, 1])

    def plain(self, unknowns):
        """Rows of looks, N x (6 + 3), and the gain's."""
        shifts = np.zeros(self.looks.at_m.shape)
        shifts[self.of_look, self.of_axis] = unknowns[UNKNOWNS:]
        source = unknowns[:UNKNOWNS] * self.scale
        at_m = self.looks.at_m + shifts * self.looks.pose_sigma_m
        own = (fields(source, at_m, self.looks.upper_m) - self.looks.fields_nt) * self.weights
        return np.hstack([own, shifts]), source[5] / self.ratio_sigma

    def costs(self, unknowns):
        return (self.plain(unknowns)[0] ** 2).sum(axis=1)

    def residuals(self, unknowns):
        rows, gain = self.plain(unknowns)
        s = (rows**2).sum(axis=1)
        beyond = np.maximum(s, walks.HUBER)
        factor = np.where(s > walks.HUBER, np.sqrt((2 * np.sqrt(walks.HUBER * beyond) - walks.HUBER) / beyond), 1)
        return np.append((rows * factor[:, None]).ravel(), gain)

    def information(self, unknowns):
        """J^T W J with Huber's weights."""
        weights = np.sqrt(walks.HUBER / np.maximum(self.costs(unknowns), walks.HUBER))

        def rows(x):
            own, gain = self.plain(x)
            return np.append((own * np.sqrt(weights)[:, None]).ravel(), gain)

        h = 1e-5
        columns = []
        for n in range(len(unknowns)):
            step = np.zeros(len(unknowns))
            step[n] = h
            columns.append((rows(unknowns + step) - rows(unknowns - step)) / (2 * h))
        jacobian = np.array(columns).T
        return jacobian.T @ jacobian

    def covariance(self, unknowns):
        whole = np.linalg.inv(self.information(unknowns))[:UNKNOWNS, :UNKNOWNS]
        return whole * np.outer(self.scale, self.scale)


def check_field(random):
    for _ in range(20):
        source = [*random.normal(size=2), random.uniform(-1, 1), random.uniform(-0.1, 0.1), 0.3]
        axis = np.array([np.cos(source[2]) * np.cos(source[3]), np.sin(source[2]) * np.cos(source[3]), np.sin(source[3])])
        at = np.array([0, source[0], source[1]])
        points = random.normal(size=(5, 3)) + [0, 0, 4]
        wire = magpylib.current.Polyline(current=source[4], vertices=[at - 2e5 * axis, at + 2e5 * axis])
        assert np.allclose(field(source, points), 1e9 * wire.getB(points), rtol=1e-6, atol=1e-9)


def walk(random, depth_m, pose_sigma_m, relative, disturbed):
    """Three lanes across, with a swaying mast."""
    source = np.array([random.normal(0, 0.1 * depth_m), -depth_m, random.uniform(-0.5, 0.5),
                       random.normal(0, 0.02), 0.01, 0.003 * random.normal()])
    length_m = min(6.0, 6 * depth_m)
    at_m = walks.turned(walks.lanes(length_m, 0.5, length_m / 30), 0.5 * np.pi)
    at_m[:, 2] = random.normal(0, 0.01, len(at_m))
    lean = random.normal(0, np.radians(3), (len(at_m), 2))
    upper_m = 0.4 * np.stack([lean[:, 0], lean[:, 1], np.sqrt(1 - (lean**2).sum(axis=1))], axis=1)
    exact = fields(source, at_m, upper_m)
    strength = np.stack([np.linalg.norm(exact[:, :3], axis=1), np.linalg.norm(exact[:, 3:], axis=1)], axis=1)
    sigma_nt = np.sqrt(NOISE_NT**2 + (relative * strength) ** 2)
    noisy = exact + np.repeat(sigma_nt, 3, axis=1) * random.normal(size=exact.shape)
    for n in random.choice(len(at_m), disturbed, replace=False):
        noisy[n] += random.uniform(10, 40) * sigma_nt[n].repeat(3) * random.normal(size=6)
    east_north, up = pose_sigma_m
    sigmas_m = np.tile(np.array([east_north, east_north, up], float), (len(at_m), 1))
    claimed_m = at_m + sigmas_m * random.normal(size=at_m.shape)
    return walks.Looks(claimed_m, upper_m, noisy, sigma_nt, sigmas_m).rounded(), source


def main():
    random = np.random.default_rng(41)
    check_field(random)
    rows, entries = [], []
    for number, case in enumerate(CASES):
        looks, truth = walk(random, *case)
        problem = Problem(looks, 0.003)
        shifts = np.zeros(len(problem.of_look))
        ends = []
        for start in (truth + [0.05, -0.05, 0.05, 0.02, 0.002, 0], truth):
            first = np.append(start / problem.scale, shifts)
            tight = {"xtol": 1e-13, "ftol": 1e-13, "gtol": 1e-10, "x_scale": "jac", "max_nfev": 200}
            ends.append(least_squares(problem.residuals, first, **tight).x)
        covariance = problem.covariance(ends[0])
        sigmas = np.sqrt(np.diag(covariance))
        gap = np.abs((ends[0] - ends[1])[:UNKNOWNS] * problem.scale) / sigmas
        assert gap.max() < 2e-3, f"walk {number}: two starts end {gap.max():g} sigmas apart"
        costs = problem.costs(ends[0])
        # The bound: no look beyond, at the truth.
        clean = walks.Looks(looks.at_m, looks.upper_m, fields(truth, looks.at_m, looks.upper_m), looks.sigma_nt,
                            looks.pose_sigma_m)
        bound_m = np.sqrt(Problem(clean, 0.003).covariance(np.append(truth / problem.scale, shifts))[1, 1])
        found = ends[0][:UNKNOWNS] * problem.scale
        print(f"{number}: {case[0]} m, depth sigma {1e3 * sigmas[1]:.2f} mm, bound {1e3 * bound_m:.2f}, "
              f"off {np.abs((found - truth) / sigmas).max():.1f} sigma, beyond {(costs > walks.HUBER).sum()}")
        rows += [[number, *row] for row in looks.rows()]
        entries.append({
            "node_ratio_sigma": 0.003, "truth": truth.tolist(), "unknowns": found.tolist(),
            "covariance": covariance.tolist(), "chi_square": np.minimum(costs, walks.HUBER).sum(),
            "beyond": int((costs > walks.HUBER).sum()), "bound_m": bound_m,
        })
    write_csv("line_looks.csv", ["walk", *walks.LOOK_HEADER], rows)
    write_json("line.json", entries)


if __name__ == "__main__":
    main()
