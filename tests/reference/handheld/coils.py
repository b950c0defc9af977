"""Coils on a mast, and the voltage a sonde, the mains or the Earth's field induces in them."""

from dataclasses import dataclass

import magpylib
import numpy as np
from scipy.interpolate import CubicSpline


@dataclass
class Coil:
    """One pick-up coil: a flat round winding around a centre, seen in the mast frame."""

    channel: int
    centre_m: np.ndarray
    axis: np.ndarray
    turns_area_m2: float
    gain: float = 1.0
    phase_deg: float = 0.0
    radius_m: float = 0.02

    def disc(self):
        """Four points whose mean is the mean over the winding's disc, exact to second order."""
        side = np.cross(self.axis, [0.36, 0.48, 0.8])
        side /= np.linalg.norm(side)
        other = np.cross(self.axis, side)
        reach = self.radius_m / np.sqrt(2)
        return self.centre_m + reach * np.array([side, other, -side, -other])


@dataclass
class Sonde:
    """A magnetic dipole below the ground, which is at up = 0."""

    overhead_en: tuple
    depth_m: float
    lay_deg: float
    pitch_deg: float
    moment_a_m2: float

    def field(self, points):
        """Amplitude of its field in tesla at points of the site frame."""
        lay, pitch = np.radians(self.lay_deg), np.radians(self.pitch_deg)
        moment = self.moment_a_m2 * np.array(
            [np.sin(lay) * np.cos(pitch), np.cos(lay) * np.cos(pitch), np.sin(pitch)]
        )
        return magpylib.misc.Dipole(moment=moment, position=(*self.overhead_en, -self.depth_m)).getB(points)


def coil_field(coil, poses, field):
    """Field along a coil's axis, averaged over its disc, at each pose."""
    rotation = poses.rotation
    points = np.stack([poses.node_m + rotation.apply(p) for p in coil.disc()])
    b = field(points.reshape(-1, 3)).reshape(points.shape).mean(axis=0)
    return np.sum(b * rotation.apply(coil.axis), axis=1)


def emf(coil, poses, amplitude_t, phase_rad, time_s):
    """Coil voltage at `time_s`: the rate of change of turns times flux.

    The flux follows amplitude_t (given at the poses) times the cosine of phase_rad (given at time_s).
    Both the carrier and the motion through the field are differentiated.
    """
    envelope = CubicSpline(poses.time_s, amplitude_t)
    phase_rate = np.gradient(phase_rad, time_s) if np.ndim(phase_rad) else 0.0
    phase = phase_rad + np.radians(coil.phase_deg)
    rate = envelope(time_s, 1) * np.cos(phase) - envelope(time_s) * phase_rate * np.sin(phase)
    return coil.gain * coil.turns_area_m2 * rate
