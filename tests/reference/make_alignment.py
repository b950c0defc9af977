"""Runs of stations and the lines fitted to them: data/alignment.json.

The model is that of the book's chapter on the job, written anew from its words: every place on the line is an unknown;
asked are the measured places within their covariance, no change of direction at a station that does not bend within the
wander, and the lay. Solved by scipy.optimize.least_squares (scipy 1.17.1) from a start that is off, with its covariance
from the Jacobian; the profile likewise. What bends is given here, not found: finding it is tested by truth.
"""

import json
import math

import numpy as np
from scipy.optimize import least_squares

WANDER_RAD = math.radians(2.0)
WANDER_SLOPE = 0.01
LEAST_M = 1e-3


def run(rng, n, bends):
    """A line that turns by 35 degrees at each bend, measured with errors."""
    bearing, at, stations = rng.uniform(0, 2 * math.pi), np.zeros(2), []
    height = -1.0
    for k in range(n):
        if k > 0:
            step = rng.uniform(2.0, 6.0)
            bearing += math.radians(35.0) if k - 1 in bends else rng.normal(0, 0.5 * WANDER_RAD)
            at = at + step * np.array([math.sin(bearing), math.cos(bearing)])
            height -= 0.02 * step
        s = rng.uniform(0.02, 0.08, size=2)
        turn = rng.uniform(0, math.pi)
        axes = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        cov = axes @ np.diag(s**2) @ axes.T
        lay_sigma = rng.uniform(1.0, 3.0)
        sigma_h = rng.uniform(0.01, 0.05)
        stations.append({
            "at": list(rng.multivariate_normal(at, cov)),
            "cov": [cov[0, 0], cov[0, 1], cov[1, 1]],
            "lay_deg": (math.degrees(bearing) + rng.normal(0, lay_sigma)) % 180.0 if rng.random() < 0.7 else None,
            "lay_sigma_deg": lay_sigma,
            "height": rng.normal(height, sigma_h),
            "height_sigma": sigma_h,
        })
    return stations


def residuals(x, stations, bends):
    p = x.reshape(-1, 2)
    m = np.array([s["at"] for s in stations])
    lengths = np.linalg.norm(np.diff(m, axis=0), axis=1)
    out = []
    for k, s in enumerate(stations):
        ee, en, nn = s["cov"]
        cov = np.array([[ee, en], [en, nn]]) + LEAST_M**2 * np.eye(2)
        out.extend(np.linalg.solve(np.linalg.cholesky(cov), p[k] - m[k]))
    direction = [(p[k + 1] - p[k]) / lengths[k] for k in range(len(lengths))]
    for k in range(1, len(p) - 1):
        if k in bends:
            continue
        chord = m[k + 1] - m[k - 1]
        normal = np.array([-chord[1], chord[0]]) / np.linalg.norm(chord)
        out.append(normal @ (direction[k] - direction[k - 1]) / WANDER_RAD)
    for k, s in enumerate(stations):
        if s["lay_deg"] is None or k in bends:
            continue
        lay = math.radians(s["lay_deg"])
        normal = np.array([-math.cos(lay), math.sin(lay)])
        sigma = math.hypot(math.radians(s["lay_sigma_deg"]), WANDER_RAD)
        if k == 0:
            d = direction[0]
        elif k == len(p) - 1:
            d = direction[-1]
        else:
            share = lengths[k - 1] / (lengths[k - 1] + lengths[k])
            d = (1 - share) * direction[k - 1] + share * direction[k]
        out.append(normal @ d / sigma)
    return np.array(out)


def profile_residuals(h, chainage, stations):
    out = [(h[k] - s["height"]) / max(s["height_sigma"], LEAST_M) for k, s in enumerate(stations)]
    slopes = np.diff(h) / np.diff(chainage)
    out.extend(np.diff(slopes) / WANDER_SLOPE)
    return np.array(out)


def solve(fun, start, args):
    found = least_squares(fun, start, args=args, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    return found.x, np.linalg.inv(found.jac.T @ found.jac), 2.0 * found.cost


def main():
    rng = np.random.default_rng(20260)
    runs = []
    for case in range(24):
        n = int(rng.integers(2, 14))
        bends = sorted(int(k) for k in rng.choice(np.arange(1, n - 1), size=min(case % 3, max(0, n - 2)), replace=False)) if n > 2 else []
        stations = run(rng, n, bends)
        m = np.array([s["at"] for s in stations])
        x, cov, chi = solve(residuals, (m + 0.3).ravel(), (stations, bends))
        chainage = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(x.reshape(-1, 2), axis=0), axis=1))])
        h, hcov, _ = solve(profile_residuals, np.zeros(n), (chainage, stations))
        runs.append({
            "stations": stations,
            "bends": bends,
            "line": x.reshape(-1, 2).tolist(),
            "cov": [[cov[2 * k, 2 * k], cov[2 * k, 2 * k + 1], cov[2 * k + 1, 2 * k + 1]] for k in range(n)],
            "chi_square": chi,
            "chainage": chainage.tolist(),
            "heights": h.tolist(),
            "height_sigmas": np.sqrt(np.diag(hcov)).tolist(),
        })
    with open("data/alignment.json", "w", encoding="utf-8") as out:
        out.write("[\n" + ",\n".join(json.dumps(run) for run in runs) + "\n]\n")


main()
