"""window.csv: taps, noise bandwidth, frequency and step response of the tone filter.

Sources: base window, 4-term Blackman-Harris (Harris 1978, Proc. IEEE 66:51), taken from
`scipy.signal.windows.blackmanharris` of 201 points at every second point, which is the window sampled
at half-integer places; responses by `scipy.signal.freqz`; scipy 1.17.1.

The filter: boxcars of 40 samples at 8000 Hz, then 120 taps at 200 Hz, one tap to a boxcar. The taps
are the base window w of 80 taps, flattened with two shifted copies,
h[n] = (1 + 2c) w[n-20] - c w[n] - c w[n-40], with c chosen so that the second moment about the centre
is zero (a quadratic change of the signal passes unchanged), and scaled to the sum 1.

Series, as `series,x,value`:
flatten_c   x empty, value c
enbw_hz     x empty, value the two-sided equivalent noise bandwidth, rate * sum h^2
tap         x the index n, value h[n]
response    x the offset from the tone in Hz, value the gain of boxcar and taps together, signed (zero phase)
step        x boxcars since a step, value the output; 0.005 s each
"""

import numpy as np
from scipy.optimize import brentq
from scipy.signal import freqz, lfilter
from scipy.signal.windows import blackmanharris

from tables import write_csv

RATE_HZ = 8000
BOXCAR = 40
TAP_RATE_HZ = RATE_HZ / BOXCAR
BASE, SHIFT, TAPS = 80, 20, 120


def flattened(c):
    w = blackmanharris(2 * BASE + 1)[1::2]
    h = np.zeros(TAPS)
    for start, weight in ((0, -c), (SHIFT, 1 + 2 * c), (2 * SHIFT, -c)):
        h[start:start + BASE] += weight * w
    return h / h.sum()


def second_moment(h):
    return np.sum((np.arange(TAPS) - (TAPS - 1) / 2) ** 2 * h)


def zero_phase(taps, f_hz, rate_hz):
    """Response with the delay of a symmetric filter taken out: real, and signed."""
    _, response = freqz(taps, worN=f_hz, fs=rate_hz)
    response = response * np.exp(1j * np.pi * f_hz / rate_hz * (len(taps) - 1))
    assert np.max(np.abs(response.imag)) < 1e-12
    return response.real


def main():
    c = brentq(lambda c: second_moment(flattened(c)), 0.0, 1.0, xtol=1e-15)
    h = flattened(c)
    assert abs(second_moment(h)) < 1e-10 and np.allclose(h, h[::-1], atol=1e-16)

    f_hz = np.arange(0, 60.25, 0.25)
    response = zero_phase(h, f_hz, TAP_RATE_HZ) * zero_phase(np.ones(BOXCAR) / BOXCAR, f_hz, RATE_HZ)
    step = lfilter(h, 1.0, np.ones(TAPS))

    rows = [["flatten_c", "", c], ["enbw_hz", "", TAP_RATE_HZ * np.sum(h**2)]]
    rows += [["tap", n, x] for n, x in enumerate(h)]
    rows += [["response", f, x] for f, x in zip(f_hz, response)]
    rows += [["step", n + 1, x] for n, x in enumerate(step)]
    write_csv("window.csv", ["series", "x", "value"], rows)

    print(f"window.csv: c {c:.6f}, ENBW {TAP_RATE_HZ * np.sum(h**2):.4f} Hz")
    for f in (1, 2, 3, 5, 8, 10, 11, 12, 15, 20, 28, 32, 40, 52):
        gain = response[int(f * 4)]
        print(f"  {f:3d} Hz {gain:+.3e} {20 * np.log10(abs(gain)):8.2f} dB")
    settled = np.flatnonzero(np.abs(step - 1) > 0.01)[-1] + 2
    print(f"  worst beyond 12 Hz {20 * np.log10(np.abs(response[48:]).max()):.1f} dB, "
          f"overshoot {step.max() - 1:+.4f}, within 1 % after {settled / TAP_RATE_HZ:.3f} s")


if __name__ == "__main__":
    main()
