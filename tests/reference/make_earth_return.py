"""earth_return.csv, earth_return_table.json: what the current that returns through the soil does to a line's ratio depth.

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
"""

import empymod
import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq

from tables import write_csv, write_json

MU0 = 4e-7 * np.pi
# k times the distance read; spacing over the distance read.
ROWS = [0.0, 0.15, 0.3, 0.45, 0.6, 0.75, 0.9]
COLUMNS = [0.05, 0.2, 0.5, 1.0]
HEIGHT = 0.1
FIRST_ORDER = np.sqrt(2) / 3


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


def main():
    check_empymod()
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
