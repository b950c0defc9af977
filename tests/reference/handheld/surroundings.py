"""What else the coils hear: the mains and its harmonics, impulses, noise, the Earth's field."""

import numpy as np
from scipy.signal import lfilter

from .coils import emf
from .walk import POSE_RATE_HZ, wander

EARTH_FIELD_T = np.array([0.6e-6, 18.7e-6, -45.1e-6])


class Mains:
    """A comb of harmonics whose fundamental wanders, each with its own direction and a slow life of its own."""

    def __init__(self, random, base_hz, base_sigma_hz, amplitude_t):
        self.random, self.base_hz, self.base_sigma_hz = random, base_hz, base_sigma_hz
        self.amplitude_t = amplitude_t

    def add_to(self, volts, coils, poses, time_s):
        """Add the induced voltages of all coils, one column of `volts` each."""
        random, rate_hz = self.random, 1 / (time_s[1] - time_s[0])
        slow = wander(random, int(time_s[-1]) + 3, 1.0, 6.0, self.base_sigma_hz)
        base_hz = self.base_hz + np.interp(time_s, np.arange(len(slow)), slow)
        angle = 2 * np.pi * np.cumsum(base_hz) / rate_hz
        strength = 1 + wander(random, len(poses.time_s), POSE_RATE_HZ, 4.0, 0.12)
        axes = [poses.rotation.apply(coil.axis) for coil in coils]
        for order, amplitude in self.amplitude_t.items():
            if order * self.base_hz > 0.45 * rate_hz:
                continue
            main, aside = random.normal(size=(2, 3))
            main *= amplitude / np.linalg.norm(main)
            aside *= 0.15 * amplitude / np.linalg.norm(aside)
            phase = order * angle + random.uniform(0, 2 * np.pi)
            for coil, axis in zip(coils, axes):
                column = volts[:, coil.channel]
                column += emf(coil, poses, strength * (axis @ main), phase, time_s)
                column += emf(coil, poses, strength * (axis @ aside), phase + np.pi / 2, time_s)


def add_earth(volts, coils, poses, time_s):
    """Voltage of coils that turn in the Earth's field."""
    for coil in coils:
        along = poses.rotation.apply(coil.axis) @ EARTH_FIELD_T
        volts[:, coil.channel] += emf(coil, poses, along, 0.0, time_s)


def add_impulses(random, volts, coils, time_s, per_second, median_v):
    """Ringing impulses at random times, of log-normal size, from a direction each."""
    rate_hz = 1 / (time_s[1] - time_s[0])
    for _ in range(random.poisson(per_second * time_s[-1])):
        size = min(median_v * np.exp(1.1 * random.normal()), 40 * median_v)
        ring_hz, decay_s = random.uniform(180, 1600), random.uniform(0.6e-3, 4e-3)
        t = np.arange(int(10 * decay_s * rate_hz)) / rate_hz
        shape = size * np.exp(-t / decay_s) * np.sin(2 * np.pi * ring_hz * t)
        start = random.integers(len(volts) - len(shape))
        direction = random.normal(size=3)
        direction /= np.linalg.norm(direction)
        for coil in coils:
            volts[start:start + len(shape), coil.channel] += shape * (coil.axis @ direction)


def add_noise(random, volts, coils, time_s, coil_v_rthz, common_v_rthz):
    """White noise of each coil and its amplifier, flicker below 60 Hz, and a far field common to both nodes."""
    rate_hz = 1 / (time_s[1] - time_s[0])
    per_sample = np.sqrt(rate_hz / 2)
    far = common_v_rthz * per_sample * random.normal(size=(len(volts), 3))
    pole = np.exp(-2 * np.pi * 4.0 / rate_hz)
    for coil in coils:
        own = coil_v_rthz * per_sample * random.normal(size=len(volts))
        # A low-passed copy 15 times stronger below 4 Hz, falling through the white noise near 60 Hz.
        flicker = 15 * lfilter([1 - pole], [1, -pole], own)
        volts[:, coil.channel] += own + flicker + far @ coil.axis
