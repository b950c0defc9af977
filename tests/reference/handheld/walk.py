"""Where the mast goes and how it is held, on an even time grid."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import lfilter
from scipy.spatial.transform import Rotation

POSE_RATE_HZ = 200
HAND_ABOVE_NODE_M = 0.72
TURN_RATE_DEG_S = 110.0
STEP_HZ = 1.72


def wander(random, count, rate_hz, correlation_s, sigma):
    """First-order Gauss-Markov noise of a stated standard deviation, already in its stride."""
    keep = np.exp(-1 / (rate_hz * correlation_s))
    drive = sigma * np.sqrt(1 - keep**2) * random.normal(size=count)
    noise, _ = lfilter([1.0], [1.0, -keep], drive, zi=[keep * sigma * random.normal()])
    return noise


@dataclass
class Poses:
    """Positions of the lower node (east, north, up) and attitudes, POSE_RATE_HZ a second."""

    node_m: np.ndarray
    heading_deg: np.ndarray
    pitch_deg: np.ndarray
    roll_deg: np.ndarray

    @property
    def time_s(self):
        return np.arange(len(self.node_m)) / POSE_RATE_HZ

    @property
    def rotation(self):
        """From the mast frame to the site frame: roll about forward, then pitch, then heading."""
        angles = np.stack([90 - self.heading_deg, -self.pitch_deg, self.roll_deg], axis=1)
        return Rotation.from_euler("ZYX", angles, degrees=True)


class Walk:
    """A script of legs in the frame of the pipe: metres along the lay and to its left of the overhead point.

    Headings are relative to the lay, clockwise.
    """

    def __init__(self, along, left, heading, height):
        self._knots = [(0.0, along, left, heading, height, 1.0)]
        self.marks = {}

    @property
    def _now(self):
        return self._knots[-1]

    def _to(self, seconds, along=None, left=None, heading=None, height=None, swing=None):
        now = self._now
        new = [now[k + 1] if v is None else v for k, v in enumerate((along, left, heading, height, swing))]
        self._knots.append((now[0] + seconds, *new))

    def stand(self, seconds, mark=None):
        """Stay, and remember when under the name `mark`."""
        start = self._now[0]
        self._to(seconds)
        if mark:
            self.marks[mark] = (start, self._now[0])

    def turn(self, heading):
        """Turn the short way to a heading, on the spot."""
        change = (heading - self._now[3] + 180) % 360 - 180
        self._to(abs(change) / TURN_RATE_DEG_S + 0.1, heading=self._now[3] + change)

    def go(self, along, left, speed, mark=None):
        """Turn towards a place and walk there in a straight line."""
        _, a, l, *_ = self._now
        self.turn(np.degrees(np.arctan2(l - left, along - a)))
        start = self._now[0]
        self._to(np.hypot(along - a, left - l) / speed, along=along, left=left)
        if mark:
            self.marks[mark] = (start, self._now[0])

    def lower(self, height, seconds):
        """Put the foot down: from here on the mast stands almost still."""
        self._to(seconds, height=height, swing=0.0)

    def poses(self, random, overhead_en, lay_deg, sway_deg, bob_m=0.007):
        """The walk as a person walks it: rounded corners, steps, and a mast that swings from the hand."""
        knots = np.array(self._knots)
        count = int(round(knots[-1, 0] * POSE_RATE_HZ))
        t = np.arange(count) / POSE_RATE_HZ
        smooth = lambda x, seconds: gaussian_filter1d(x, seconds * POSE_RATE_HZ, mode="nearest")
        along, left, heading, height, swing = (
            smooth(np.interp(t, knots[:, 0], column), 0.16) for column in knots[:, 1:].T
        )
        swing = np.clip(swing, 0, 1)
        moving = np.clip(smooth(np.hypot(np.gradient(along, t), np.gradient(left, t)), 0.3) / 0.5, 0, 1)
        step = 2 * np.pi * STEP_HZ * t + random.uniform(0, 6.28)

        drift = lambda sigma: wander(random, count, POSE_RATE_HZ, 0.9, sigma)
        tilt = [
            swing * sway_deg * (np.sin(0.5 * step + random.uniform(0, 6.28)) * moving + 0.5 * smooth(drift(1.0), 0.1))
            + 0.2 * smooth(drift(1.0), 0.2)
            for _ in range(2)
        ]
        heading = lay_deg + heading + (0.3 + swing) * 1.2 * smooth(drift(1.0), 0.15)
        lay = np.radians(lay_deg)
        hand = np.stack([
            overhead_en[0] + along * np.sin(lay) - left * np.cos(lay),
            overhead_en[1] + along * np.cos(lay) + left * np.sin(lay),
            height + HAND_ABOVE_NODE_M + swing * moving * bob_m * np.sin(step),
        ], axis=1)
        poses = Poses(hand, heading % 360, *tilt)
        poses.node_m = hand - poses.rotation.apply([0, 0, HAND_ABOVE_NODE_M])
        return poses
