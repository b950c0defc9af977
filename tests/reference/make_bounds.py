"""Cramer-Rao bounds, from derivatives by complex step.

bounds.json      of a real sinusoid A cos(w n + p) in white Gaussian noise
walk_bounds.csv  of a sonde seen by two nodes along a walk

Of the sinusoid. Sources: Rife and Boorstyn 1974, IEEE Trans. IT-20:591; Kay 1993, Fundamentals of Statistical Signal
Processing I (the frequency, amplitude and phase of a sinusoid). For N samples of noise s:
  var(A) >= 2 s^2 / N                           any of the others known or not
  var(p) >= 2 s^2 / (A^2 N)                     frequency known
  var(p) >= 4 s^2 (2N - 1) / (A^2 N (N + 1))    frequency unknown, phase at the first sample
  var(w) >= 24 s^2 / (A^2 N (N^2 - 1))          w in radians per sample
These hold for frequencies not near 0 or half the rate. Beside them stand the figures of the inverted
Fisher matrix; the two must agree within 0.5 %.

Of the walk: Kay 1993, ch. 3, with the field of Jackson, eq. 5.56. A sonde of 0.2 A m2, level, d below the lower node and
straight below the middle of the lanes; nodes 0.4 m apart; lanes of 6 m, half a metre apart, walked at 0.5 m/s; ten
readings a second at 5 pT/sqrt(Hz). Where poses are uncertain, so is every reading's place along all three axes, and
each is an unknown with its sigma as a prior, inverted with all others: with three lanes 1086 or 1087 unknowns.
`depth_known_gain_m` knows the gains of both nodes; the other columns have the upper node's as a seventh unknown, known
to 0.3 %. The single reading straight overhead cannot tell depth from an offset aside: that offset is held there.
"""

import numpy as np

import walks
from tables import write_csv, write_json

# samples, noise, amplitude, sampling rate Hz, frequency Hz, phase
CASES = [
    (1000, 1.0, 1.0, 8000.0, 512.0, 0.3),
    (3200, 0.5, 0.02, 8000.0, 513.3, -1.1),
    (4800, 1e-3, 1e-3, 8000.0, 512.0, 2.0),
    (800, 2.0, 10.0, 4000.0, 512.0, 0.0),
    (24000, 3.0, 0.1, 48000.0, 640.0, 1.4),
    (17640, 0.2, 0.05, 44100.0, 8192.0, -2.7),
]


def derivative(model, theta, which):
    """Of a model that works with complex numbers, by one of its parameters."""
    h = 1e-30
    moved = np.array(theta, dtype=complex)
    moved[which] += 1j * h
    return model(moved).imag / h


def variances(fisher):
    """Diagonal of the inverse, scaled to a unit diagonal first: entries differ by many powers of ten."""
    scale = np.sqrt(np.diag(fisher))
    return np.diag(np.linalg.inv(fisher / np.outer(scale, scale))) / scale**2


def fisher_variances(n, sigma, a, w, p, parameters):
    """Of the parameters chosen of A, p, w."""
    k = np.arange(n)

    def model(t):
        return t[0] * np.cos(t[2] * k + t[1])

    jacobian = np.stack([derivative(model, [a, p, w], which) for which in parameters])
    return variances(jacobian @ jacobian.T / sigma**2)


NOISE_NT = 5e-3 * np.sqrt(10)
SPACING_M = 0.4
RATIO_SIGMA = 0.003
ALONG_M = 0.05 * np.arange(120) - 2.975  # the middles of 120 readings
# Name, offsets aside of the lanes, places along them, pose sigmas, depths
WALKS = [
    ("one reading", [0.0], [0.0], [0.0], [1, 2, 3]),
    ("one lane", [0.0], ALONG_M, [0.0], [1, 2, 3, 6, 8]),
    ("three lanes", [-0.5, 0.0, 0.5], ALONG_M, [0.0, 0.02, 0.3], [1, 2, 3, 6, 8]),
]


def walk_sigmas(at_m, depth_m, pose_sigma_m, parameters):
    """Bounds on the parameters chosen of place, moment and the upper node's gain."""
    source = np.array([0, 0, -depth_m, 0.2, 0, 0, 0])
    count = len(at_m)
    nodes_m = walks.nodes(at_m, np.tile([0, 0, SPACING_M], (count, 1)))

    def by_source(theta):
        return walks.fields(theta, nodes_m)

    jacobian = np.stack([derivative(by_source, source, which).ravel() for which in parameters], axis=1)
    if pose_sigma_m > 0:
        # All places may be moved at once: a reading knows nothing of the others' places.
        def by_place(shift):
            return walks.fields(source, nodes_m + shift[:, None])

        own = np.stack([derivative(by_place, np.zeros(3), axis).reshape(6, count) for axis in range(3)], axis=2)
        shifts = np.zeros((6, count, count, 3))
        each = np.arange(count)
        shifts[:, each, each] = own
        jacobian = np.hstack([jacobian, shifts.reshape(6 * count, -1)])
    fisher = jacobian.T @ jacobian / NOISE_NT**2
    chosen = len(parameters)
    if 6 in parameters:
        fisher[chosen - 1, chosen - 1] += 1 / RATIO_SIGMA**2
    fisher[range(chosen, len(fisher)), range(chosen, len(fisher))] += 1 / pose_sigma_m**2 if pose_sigma_m else 0
    return np.sqrt(variances(fisher)[:chosen])


def walk_rows():
    for name, aside_m, along_m, pose_sigmas_m, depths_m in WALKS:
        at_m = np.array([[x, y, 0.0] for y in aside_m for x in along_m])
        source = [0, 2, 3, 4, 5] if len(at_m) == 1 else [0, 1, 2, 3, 4, 5]
        for pose_sigma_m in pose_sigmas_m:
            for depth_m in depths_m:
                known = walk_sigmas(at_m, depth_m, pose_sigma_m, source)[source.index(2)]
                # With the gain open too, a single reading has more unknowns than numbers.
                unknown = [""] * 7 if len(at_m) == 1 else walk_sigmas(at_m, depth_m, pose_sigma_m, range(7))
                yield [name, depth_m, pose_sigma_m, known, *unknown]


def main():
    entries = []
    for n, s, a, rate_hz, f_hz, p in CASES:
        w = 2 * np.pi * f_hz / rate_hz
        closed = {
            "amplitude": 2 * s**2 / n,
            "phase_known_frequency": 2 * s**2 / (a**2 * n),
            "phase": 4 * s**2 * (2 * n - 1) / (a**2 * n * (n + 1)),
            "frequency": 24 * s**2 / (a**2 * n * (n**2 - 1)),
        }
        amplitude, phase, frequency = fisher_variances(n, s, a, w, p, [0, 1, 2])
        numeric = {
            "amplitude": amplitude,
            "phase_known_frequency": fisher_variances(n, s, a, w, p, [0, 1])[1],
            "phase": phase,
            "frequency": frequency,
        }
        for name, bound in closed.items():
            gap = numeric[name] / bound - 1
            assert abs(gap) < 5e-3, f"{name} at N = {n}: closed form and Fisher matrix differ by {gap:.2%}"
        entries.append({
            "samples": n, "sigma": s, "amplitude": a, "rate_hz": rate_hz, "frequency_hz": f_hz, "phase_rad": p,
            "variance_bound": closed, "variance_bound_fisher": {k: float(v) for k, v in numeric.items()},
        })
    write_json("bounds.json", entries)
    unknowns = ["x_m", "y_m", "z_m", "mx_a_m2", "my_a_m2", "mz_a_m2", "gain"]
    rows = list(walk_rows())
    write_csv("walk_bounds.csv", ["walk", "depth_m", "pose_sigma_m", "depth_known_gain_m", *unknowns], rows)
    print(f"bounds.json: {len(entries)} cases; walk_bounds.csv: {len(rows)}")


if __name__ == "__main__":
    main()
