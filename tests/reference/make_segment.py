"""segment.csv: the field of a straight piece of wire in free space, from a library and by quadrature.

Sources: magpylib 6.3.0 `current.Polyline`; the law of Biot and Savart summed along the wire by scipy.integrate
(`quad_vec`), with mu0/(4 pi) = 1e-7.
"""

import magpylib
import numpy as np
from scipy.integrate import quad_vec

from tables import write_csv

COUNT = 240


def by_quadrature(current, start, end, point):
    along = end - start

    def part(t):
        away = point - start - t * along
        return np.cross(along, away) / np.linalg.norm(away) ** 3

    # The integrand peaks where the wire passes the point: there the range is split.
    foot = np.clip(np.dot(point - start, along) / np.dot(along, along), 1e-6, 1 - 1e-6)
    halves = [quad_vec(part, a, b, epsrel=1e-12, epsabs=0, limit=2000)[0] for a, b in [(0, foot), (foot, 1)]]
    return 1e-7 * current * sum(halves)


def main():
    random = np.random.default_rng(513)
    rows = []
    for k in range(COUNT):
        current = random.choice([-1, 1]) * 10 ** random.uniform(-3, 1)
        length = 10 ** random.uniform(-1, 3)
        axis = random.normal(size=3)
        axis /= np.linalg.norm(axis)
        aside = np.cross(axis, random.normal(size=3))
        aside *= 10 ** random.uniform(-1, 1) / np.linalg.norm(aside)
        # Beside the wire, and up to half its length beyond either end.
        point = aside + axis * length * random.uniform(-1, 1)
        start, end = -0.5 * length * axis, 0.5 * length * axis

        first = magpylib.current.Polyline(current=current, vertices=[start, end]).getB(point)
        second = by_quadrature(current, start, end, point)
        gap = np.linalg.norm(first - second) / np.linalg.norm(first)
        assert gap < 1e-8, f"library and quadrature differ by {gap:g} at row {k}"
        rows.append([current, *(point - start), *(point - end), *first, *second])

    header = ["current_a"] + [f"from_{end}_{a}_m" for end in ("start", "end") for a in "xyz"]
    header += [f"{by}_b{a}_t" for by in ("magpylib", "quadrature") for a in "xyz"]
    write_csv("segment.csv", header, rows)
    print(f"segment.csv: {len(rows)} rows")


if __name__ == "__main__":
    main()
