"""earth_return*.csv, earth_return*.json: what the current that returns through the soil does to a line's depth.

Source: the field across a long line buried d deep, h above even ground, straight above it (Wait 1951, line source over a
half-space; from memory, checked here against empymod 2.6.1 by summing horizontal electric dipoles along the line)
  B = mu0 I / pi  Int_0^inf  l / (l + u) exp(-l h - u d) dl,     u = sqrt(l^2 + i w mu0 sigma)
by scipy.integrate.quad 1.17.1. Both nodes are turned by their common phase, arg(sum z^2)/2, and their real parts
divided, as the instrument does. The ratio depth is s / (B1/B2 - 1).

earth_return.csv         conductivity (S/m), frequency (Hz), height of the lower node (m), its spacing (m), distance from
                         the lower node to the line (m), distance that the ratio reads
earth_return_table.json  what the core holds: (true / read - 1) / (sqrt(2)/3 k (read + spacing)) with k = sqrt(w mu0 sigma),
                         by rows of k times the distance read and columns of spacing over distance read, the lower node
                         a tenth of the distance above the ground
earth_return_looks.csv   walks across such a line, free of noise, both components by the same integral with a cosine for the
                         level one and a sine for the upright one: number of the walk, then `walks.LOOK_HEADER`
earth_return_walks.json  of each walk: conductivity, frequency, distance to the line; by the long line that scipy fits, in
                         free space (`make_line.py`) and with what returns for a seventh unknown, distance and its sigma,
                         what returns; distance that the ratio reads straight above
"""

import empymod
import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq, least_squares

import walks
from make_line import NOISE_NT, Problem, fields
from tables import write_csv, write_json

MU0 = 4e-7 * np.pi
# k times the distance read; spacing over the distance read.
ROWS = [0.0, 0.15, 0.3, 0.45, 0.6, 0.75, 0.9]
COLUMNS = [0.05, 0.2, 0.5, 1.0]
HEIGHT = 0.1
FIRST_ORDER = np.sqrt(2) / 3
POINTS = np.polynomial.legendre.leggauss(800)


def field(h, d, k2, aside=0.0):
    """Over mu0 I / (2 pi)."""
    far = h + d

    def part(which):
        def integrand(x):
            l = x / far
            u = np.sqrt(l * l + 1j * k2)
            v = 2 * l / (l + u) * np.exp(-l * h - u * d) * np.cos(l * aside) / far
            return v.real if which == 0 else v.imag

        return quad(integrand, 0, 80, limit=800, epsabs=1e-13, epsrel=1e-11, points=[0.001, 0.01, 0.1, 1, 5])[0]

    return part(0) + 1j * part(1)


def in_phase(z):
    return (z * np.exp(-0.5j * np.angle((z**2).sum()))).real


def read(h, d, spacing, k2):
    low, high = in_phase(np.array([field(h, d, k2), field(h + spacing, d, k2)]))
    return spacing / (low / high - 1)


def check_empymod():
    """Dipoles along the line, 0.05 m aside, where digital filters hold."""
    worst = 0.0
    for conductivity, frequency, d in [(0.1, 8192.0, 1.0), (0.01, 32768.0, 2.0), (1.0, 8192.0, 2.0)]:
        skin = 503 / np.sqrt(conductivity * frequency)
        t, w = np.polynomial.legendre.leggauss(400)
        end = np.arcsinh(60 * skin / 0.3)
        x, weight = 0.3 * np.sinh(end * t), 0.3 * np.cosh(end * t) * end * w
        for h in (0.1, 0.5):
            receivers = [x, np.full(len(x), 0.05), -h]
            parts = empymod.dipole([0, 0, d], receivers, [0], [2e14, 1 / conductivity], frequency, ab=51, verb=0)
            total = 2 * np.pi * np.abs((parts * weight).sum())
            own = np.abs(field(h, d, 2 * np.pi * frequency * MU0 * conductivity, 0.05))
            worst = max(worst, abs(total / own - 1))
            print(f"empymod {conductivity} S/m {frequency} Hz d {d} h {h}: {total:.5f}, quadrature {own:.5f}")
    assert worst < 5e-3, f"{worst:.2%} apart"


def table():
    for k_read in ROWS:
        row = []
        for share in COLUMNS:
            if k_read == 0:
                row.append(1.0)
                continue
            # With the distance read for unit, find the true one.
            def off(true):
                return read(HEIGHT * true, (1 - HEIGHT) * true, share, k_read**2) - 1

            true = brentq(off, 1.0, 6.0, xtol=1e-6)
            row.append((true - 1) / (FIRST_ORDER * k_read * (1 + share)))
        yield row


class InSoil(Problem):
    """With a seventh unknown: what is taken off the level field at the line's height, over the line's own at 1 m.

    The second order follows from it: 9 pi / 32 of its square, growing with height above the line and way aside, less what
    counts twice (see `growth`)."""

    def plain(self, unknowns):
        source, taken = unknowns[:6] * self.scale, unknowns[6]
        left, up = np.array([-np.sin(source[2]), np.cos(source[2]), 0]), np.array([0, 0, 1])

        def soil(at_m):
            aside, above = (at_m @ left - source[0])[:, None], (at_m @ up - source[1])[:, None]
            second = taken**2 / (1 + 1.6 * np.abs(taken * above))
            return taken * left - 9 * np.pi / 32 * second * (above * left + aside * up)

        lower, upper = soil(self.looks.at_m), soil(self.looks.at_m + self.looks.upper_m)
        returned = 200 * source[4] * np.hstack([lower, (1 + source[5]) * upper])
        exact = fields(source, self.looks.at_m, self.looks.upper_m) + returned
        own = (exact - self.looks.fields_nt) * self.weights
        return np.hstack([own, np.zeros((len(own), 3))]), source[5] / self.ratio_sigma


def both_components(h, d, k2, aside):
    """Level and upright component over mu0 I / (2 pi), for many places aside, by one rule for all."""
    # The integrand falls by exp(-l h - u d); so many points of Gauss and Legendre resolve the waves as far as 3 m aside.
    x, w = POINTS
    t = 0.5 * (x + 1)
    far = h + d
    l = 60 / far * t**3
    weight = 0.5 * w * 60 / far * 3 * t**2
    u = np.sqrt(l * l + 1j * k2)
    v = 2 * l / (l + u) * np.exp(-l * h - u * d) * weight
    waves = np.outer(aside, l)
    return np.cos(waves) @ v, np.sin(waves) @ v


def growth():
    """What grows with height above the line and way aside over the square of what is taken off at its height, by
    quadrature, against the expansion's 9 pi / 32 / (1 + 1.6 of the latter over the height)."""
    y, worst = np.linspace(-3, 3, 31), 0
    for k in (0.02, 0.05, 0.12, 0.25, 0.5):
        for d in (0.9, 1.9, 2.9, 3.9):
            rows, right = [], []
            for h in (0.1, 0.5):
                level, upright = both_components(h, d, k * k, y)
                above, far = np.full(len(y), h + d), np.sqrt((h + d) ** 2 + y**2)
                rows += [*np.column_stack([-far, above * far]), *np.column_stack([0 * far, -y * far])]
                right += [*(level.real - above / far**2) * far, *(upright.real - y / far**2) * far]
            (taken, grows), *_ = np.linalg.lstsq(np.array(rows), np.array(right), rcond=None)
            modelled = 9 * np.pi / 32 * taken**2 / (1 + 1.6 * taken * (d + 0.1))
            worst = max(worst, abs(grows - modelled) / (9 * np.pi / 32 * taken**2))
    print(f"the second order within {100 * worst:.1f} % of the expansion's first term")


def walk(conductivity, frequency, far, height=0.1, spacing=0.4):
    """Three lanes across, the line along x at y = 0; 10 mA."""
    k2 = 2 * np.pi * frequency * MU0 * conductivity
    y = np.linspace(-3, 3, 31)
    nodes = []
    for up in (0.0, spacing):
        level, upright = both_components(height + up, far - height, k2, y)
        # A current along x makes a field against y above it, and upwards to its left.
        nodes += [np.zeros(len(y)), -2 * level, 2 * upright]
    z = np.array(nodes).T
    turned = np.array([in_phase(row) for row in z])
    turned *= np.sign((turned * z.real).sum(axis=1, keepdims=True))
    lanes = [np.column_stack([np.full(len(y), x), y, np.zeros(len(y))]) for x in (-0.5, 0.0, 0.5)]
    at_m = np.vstack(lanes)
    upper_m = np.tile([0, 0, spacing], (len(at_m), 1))
    strong = np.tile(turned, (3, 1))
    strength = np.stack([np.linalg.norm(strong[:, :3], axis=1), np.linalg.norm(strong[:, 3:], axis=1)], axis=1)
    sigma_nt = np.sqrt(NOISE_NT**2 + (0.01 * strength) ** 2)
    return walks.Looks(at_m, upper_m, strong, sigma_nt, np.zeros(at_m.shape)).rounded()


def walk_entries():
    level, upright = both_components(0.1, 0.9, 0.0, np.array([0.0, 0.7]))
    assert np.allclose([level[0], level[1], upright[1]], [1.0, 1 / 1.49, 0.7 / 1.49], rtol=1e-6)
    rows, entries = [], []
    for conductivity, frequency in [(0.01, 8192.0), (0.1, 512.0), (0.1, 8192.0), (1.0, 8192.0), (0.1, 32768.0)]:
        for far in (1.0, 2.0, 3.0):
            looks = walk(conductivity, frequency, far)
            start = np.array([0.02, -far, 0.01, 0.0, 1.0, 0.0, 0.0])
            fits = []
            for problem, first in ((Problem(looks, 0.003), start[:6]), (InSoil(looks, 0.003), start)):
                found = least_squares(problem.residuals, first, x_scale="jac", xtol=1e-12, ftol=1e-12)
                fits.append((found.x, np.sqrt(problem.covariance(found.x)[1, 1]), problem.costs(found.x).sum()))
            (plain, plain_sigma, plain_chi), (soil, soil_sigma, soil_chi) = fits
            k2 = 2 * np.pi * frequency * MU0 * conductivity
            entry = {"conductivity_s_per_m": conductivity, "frequency_hz": frequency, "distance_m": far,
                     "free_space_m": -plain[1], "free_space_sigma_m": plain_sigma,
                     "fitted_m": -soil[1], "fitted_sigma_m": soil_sigma, "returned_per_m": soil[6],
                     "ratio_m": read(0.1, far - 0.1, 0.4, k2)}
            off = {name: 100 * (entry[f"{name}_m"] / far - 1) for name in ("free_space", "fitted", "ratio")}
            print(f"{conductivity} S/m {frequency:.0f} Hz {far} m: free space {off['free_space']:+.1f} % "
                  f"(chi2 {plain_chi:.0f}), with what returns {off['fitted']:+.2f} % (sigma {100 * soil_sigma / far:.2f}, "
                  f"chi2 {soil_chi:.1f}), ratio {off['ratio']:+.1f} %")
            rows += [[len(entries), *row] for row in looks.rows()]
            entries.append(entry)
    return rows, entries


def main():
    check_empymod()
    growth()
    rows, entries = walk_entries()
    write_csv("earth_return_looks.csv", ["walk", *walks.LOOK_HEADER], rows)
    write_json("earth_return_walks.json", entries)
    rows = list(table())
    write_json("earth_return_table.json", {"k_read": ROWS, "spacing": COLUMNS, "table": rows})
    for row in rows:
        print("[" + ", ".join(f"{x:.4f}" for x in row) + "],")
    random = np.random.default_rng(12)
    points = []
    for sigma in (0.001, 0.01, 0.1, 1.0):
        for f in (512.0, 8192.0, 32768.0):
            points += [(sigma, f, 0.0, 0.4, d) for d in (1.0, 2.0, 3.0, 5.0)]
    for _ in range(120):
        points.append((10 ** random.uniform(-3, 0), 10 ** random.uniform(2.5, 4.9), random.uniform(0, 0.4),
                       random.uniform(0.3, 1.0), random.uniform(0.5, 6)))
    found = []
    for sigma, f, h, s, far in points:
        if h < 0.6 * far:
            found.append([sigma, f, h, s, far, read(h, far - h, s, 2 * np.pi * f * MU0 * sigma)])
    write_csv("earth_return.csv", ["conductivity_s_per_m", "frequency_hz", "height_m", "spacing_m", "distance_m", "read_m"],
              found)


if __name__ == "__main__":
    main()
