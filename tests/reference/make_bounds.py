"""bounds.json: Cramer-Rao bounds of a real sinusoid A cos(w n + p) in white Gaussian noise.

Sources: Rife and Boorstyn 1974, IEEE Trans. IT-20:591; Kay 1993, Fundamentals of Statistical Signal
Processing I (the frequency, amplitude and phase of a sinusoid). For N samples of noise s:
  var(A) >= 2 s^2 / N                           any of the others known or not
  var(p) >= 2 s^2 / (A^2 N)                     frequency known
  var(p) >= 4 s^2 (2N - 1) / (A^2 N (N + 1))    frequency unknown, phase at the first sample
  var(w) >= 24 s^2 / (A^2 N (N^2 - 1))          w in radians per sample
These hold for frequencies not near 0 or half the rate. Beside them stand the figures of the inverted
Fisher matrix, whose derivatives are taken by complex step; the two must agree within 0.5 %.
"""

import numpy as np

from tables import write_json

# samples, noise, amplitude, sampling rate Hz, frequency Hz, phase
CASES = [
    (1000, 1.0, 1.0, 8000.0, 512.0, 0.3),
    (3200, 0.5, 0.02, 8000.0, 513.3, -1.1),
    (4800, 1e-3, 1e-3, 8000.0, 512.0, 2.0),
    (800, 2.0, 10.0, 4000.0, 512.0, 0.0),
    (24000, 3.0, 0.1, 48000.0, 640.0, 1.4),
    (17640, 0.2, 0.05, 44100.0, 8192.0, -2.7),
]


def fisher_variances(n, sigma, a, w, p, parameters):
    """Diagonal of the inverse Fisher matrix over the parameters chosen of A, p, w."""
    theta = np.array([a, p, w], dtype=complex)
    k = np.arange(n)

    def derivative(which):
        h = 1e-30
        t = theta.copy()
        t[which] += 1j * h
        return (t[0] * np.cos(t[2] * k + t[1])).imag / h

    jacobian = np.stack([derivative(which) for which in parameters])
    # Scaled to a unit diagonal before inversion: the frequency's entry is larger by about n^2.
    fisher = jacobian @ jacobian.T / sigma**2
    scale = np.sqrt(np.diag(fisher))
    return np.diag(np.linalg.inv(fisher / np.outer(scale, scale))) / scale**2


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
    print(f"bounds.json: {len(entries)} cases")


if __name__ == "__main__":
    main()
