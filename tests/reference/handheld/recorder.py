"""Front end, converter and files: from coil volts and poses to a capture folder."""

from dataclasses import dataclass

import numpy as np
import soundfile
from scipy.signal import butter, sosfilt

TRACK_HZ = 10


@dataclass
class FrontEnd:
    """Amplifier with gain rungs before a converter."""

    full_scale_v: float
    gains: list
    settle_s: float
    bits: int

    def convert(self, volts, rate_hz, rungs):
        """Integer samples, given rungs as a list of (first sample, rung)."""
        band = butter(1, 14.0, "highpass", fs=rate_hz, output="sos")
        band = np.concatenate([band, butter(4, 0.43 * rate_hz, fs=rate_hz, output="sos")])
        out = sosfilt(band, volts, axis=0)
        ends = [start for start, _ in rungs[1:]] + [len(volts)]
        before = None
        for (start, rung), end in zip(rungs, ends):
            gain = self.gains[rung]
            out[start:end] *= gain
            if before is not None:
                self._settle(out[start:end], before / gain, rate_hz)
            before = gain
        scale = 2 ** (self.bits - 1)
        return np.clip(np.round(out * scale / self.full_scale_v), -scale, scale - 1).astype(np.int64)

    def _settle(self, out, old_over_new, rate_hz):
        """Disturb the start of a stretch: the old gain fades into the new one with a thump, then it is over."""
        count = min(int(0.9 * self.settle_s * rate_hz), len(out))
        fade = np.exp(-np.arange(count) / (0.13 * self.settle_s * rate_hz))[:, None]
        out[:count] *= 1 + (old_over_new - 1) * fade
        out[:count] += 0.06 * self.full_scale_v * fade

    def toml(self):
        rungs = "".join(f"  {{ gain = {g}, settle_s = {self.settle_s} }},\n" for g in self.gains)
        return f"[front_end]\nfull_scale_v = {self.full_scale_v}\nrungs = [\n{rungs}]\n"


def write_wav(path, samples, rate_hz, bits):
    """Little-endian PCM of 16 or 24 bits."""
    wide = (samples << (32 - bits)).astype(np.int32)
    soundfile.write(path, wide, rate_hz, subtype=f"PCM_{bits}", format="WAV")


def array_toml(nodes, foot_m, node_ratio_sigma, note):
    """The [array] part: nodes as a list of (position, coils), coils as calibrated."""
    text = f"[array]\nfoot_m = {foot_m}\n\n[array.calibration]\n"
    text += f'node_ratio_sigma = {node_ratio_sigma}\nscale_sigma = 0.05\nnote = "{note}"\n'
    for position, coils in nodes:
        text += f"\n[[array.node]]\nposition_m = {_list(position)}\n"
        for coil in coils:
            text += f"[[array.node.coil]]\nchannel = {coil.channel}\naxis = {_list(coil.axis)}\n"
            text += f"turns_area_m2 = {coil.turns_area_m2:.4f}\ngain = {coil.gain:.5f}\n"
            text += f"phase_deg = {coil.phase_deg:.3f}\n"
    return text


def _list(v):
    return "[" + ", ".join(f"{x:.5f}" for x in v) + "]"


@dataclass
class Sensors:
    """Errors of the position, heading and tilt sensors: wander and noise of each."""

    position_wander_m: float
    position_noise_m: float
    up_noise_m: float = 0.003
    heading_bias_deg: float = 0.3
    heading_noise_deg: float = 0.6
    tilt_bias_deg: float = 0.1
    tilt_noise_deg: float = 0.2

    @property
    def sigma_m(self):
        return float(np.hypot(self.position_wander_m, self.position_noise_m))


def measure(random, sensors, poses, time_s, wander):
    """What the sensors say at `time_s`: a dict of track columns."""
    at = lambda values: np.interp(time_s, poses.time_s, values)
    noise = lambda sigma: sigma * random.normal(size=len(time_s))
    place = [
        at(poses.node_m[:, k])
        + wander(random, len(time_s), TRACK_HZ, 6.0, sensors.position_wander_m)
        + noise(sensors.position_noise_m)
        for k in range(2)
    ]
    heading = np.degrees(np.unwrap(np.radians(poses.heading_deg)))
    return {
        "time_s": [f"{t:.3f}" for t in time_s],
        "east_m": [f"{x:.4f}" for x in place[0]],
        "north_m": [f"{x:.4f}" for x in place[1]],
        "up_m": [f"{x:.4f}" for x in at(poses.node_m[:, 2]) + noise(sensors.up_noise_m)],
        "heading_deg": [
            f"{x:.2f}" for x in (at(heading) + sensors.heading_bias_deg + noise(sensors.heading_noise_deg)) % 360
        ],
        "pitch_deg": [f"{x:.2f}" for x in at(poses.pitch_deg) + sensors.tilt_bias_deg + noise(sensors.tilt_noise_deg)],
        "roll_deg": [f"{x:.2f}" for x in at(poses.roll_deg) - sensors.tilt_bias_deg + noise(sensors.tilt_noise_deg)],
        "sigma_m": [f"{sensors.sigma_m:.4f}"] * len(time_s),
    }


def write_columns(path, columns):
    """A CSV file with a header line."""
    lines = [",".join(columns)] + [",".join(row) for row in zip(*columns.values())]
    path.write_text("\n".join(lines) + "\n")
