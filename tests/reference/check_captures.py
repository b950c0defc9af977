"""Reads the captures back by the format's description alone and compares what they say with truth.toml.

A plain reader and lock-in of its own: it shares nothing with the generator but the format. It looks for
the carrier, demodulates, follows the common phase, and gives the field ratio over the sonde, the nulls on the
lane along the lay, the zero and maxima of the vertical component, and a least-squares fit of a dipole to the walk.
Prints a table; exits with 1 when a figure is off by more than its tolerance.
"""

import csv
import sys
import tomllib
from pathlib import Path

import numpy as np
import soundfile
from scipy.optimize import least_squares
from scipy.signal import oaconvolve
from scipy.signal.windows import blackmanharris

CAPTURES = Path(__file__).parent / "captures"
OUTPUT_HZ = 20
WINDOW_S = 0.4
failures = 0


def report(name, value, truth, tolerance, unit):
    global failures
    wrong = not abs(value - truth) <= tolerance
    failures += wrong
    verdict = "  WRONG" if wrong else ""
    print(f"  {name:34s} {value:9.4f}  truth {truth:9.4f}  off {value - truth:+8.4f} {unit:3s}{verdict}")


def read_columns(path):
    rows = list(csv.DictReader(path.open()))
    return {k: np.array([float(r[k]) if r[k] else np.nan for r in rows]) for k in rows[0]}


def lock_in(samples, weight, rate_hz, f_hz, start_phase=0.0):
    """Peak-amplitude phasors OUTPUT_HZ a second, and the time of each; `weight` 0 leaves samples out."""
    count = int(WINDOW_S * rate_hz) | 1
    window = blackmanharris(count)
    oscillator = np.exp(-2j * np.pi * f_hz * np.arange(len(samples)) / rate_hz)
    centres = np.arange(count // 2, len(samples) - count // 2, int(rate_hz / OUTPUT_HZ))
    share = oaconvolve(weight, window, mode="same")[centres]
    mixed = samples * (weight * oscillator)[:, None]
    z = oaconvolve(mixed, window[:, None], mode="same", axes=0)[centres]
    return 2 * z / share[:, None], centres / rate_hz


def carrier(samples, weight, rate_hz):
    """Strongest frequency within 3 Hz of 512, from the power of all channels."""
    offsets = np.arange(-3, 3.001, 0.02)
    t = np.arange(len(samples)) / rate_hz
    taper = weight * blackmanharris(len(samples))

    def power(f):
        # Blocks short enough for the carrier to hold its phase, added as power.
        mixed = samples * (taper * np.exp(-2j * np.pi * f * t))[:, None]
        edges = np.arange(0, len(samples), int(4 * rate_hz))
        return np.sum(np.abs(np.add.reduceat(mixed, edges)) ** 2)

    powers = [power(512 + d) for d in offsets]
    k = int(np.clip(np.argmax(powers), 1, len(offsets) - 2))
    a, b, c = powers[k - 1:k + 2]
    return 512 + offsets[k] + 0.02 * 0.5 * (a - c) / (a - 2 * b + c)


def in_phase(z):
    """Signed real parts along the common phase; sign kept from row to row. And the share in quadrature."""
    phase = np.angle(np.sum(z**2, axis=1)) / 2
    turned = z * np.exp(-1j * phase)[:, None]
    real = turned.real
    for k in range(1, len(real)):
        if real[k] @ real[k - 1] < 0:
            real[k] *= -1
    return real, np.linalg.norm(turned.imag, axis=1) / np.linalg.norm(turned, axis=1)


def mast_to_site(heading_deg, pitch_deg, roll_deg):
    """Matrices built axis by axis from the format's words."""
    h, p, r = np.radians([heading_deg, pitch_deg, roll_deg])
    zero = np.zeros_like(h)
    forward = np.stack([np.sin(h) * np.cos(p), np.cos(h) * np.cos(p), np.sin(p)], axis=1)
    level_left = np.stack([-np.cos(h), np.sin(h), zero], axis=1)
    straight_up = np.cross(forward, level_left)
    left = level_left * np.cos(r)[:, None] + straight_up * np.sin(r)[:, None]
    return np.stack([forward, left, np.cross(forward, left)], axis=2)


def pose_at(track, time_s):
    at = lambda name: np.interp(time_s, track["time_s"], track[name])
    heading = np.degrees(np.interp(time_s, track["time_s"], np.unwrap(np.radians(track["heading_deg"]))))
    place = np.stack([at("east_m"), at("north_m"), at("up_m")], axis=1)
    return place, mast_to_site(heading, at("pitch_deg"), at("roll_deg"))


def read_samples(folder, settings, track):
    """Coil volts, weights that leave settling out, and the rate."""
    samples, rate_hz = soundfile.read(folder / "samples.wav", dtype="int32", always_2d=True)
    counts = samples / 2**8
    front = settings["front_end"]
    weight, gain = np.ones(len(counts)), np.full(len(counts), float(front["rungs"][0]["gain"]))
    rung = 0
    for t, cell in zip(track["time_s"], track["rung"]):
        if np.isfinite(cell) and int(cell) != rung:
            rung, start = int(cell), round(t * rate_hz)
            gain[start:] = front["rungs"][rung]["gain"]
            weight[start:start + int(np.ceil(front["rungs"][rung]["settle_s"] * rate_hz))] = start == 0
            print(f"  rung {rung} (gain {gain[-1]:g}) from {t:.3f} s")
    peak = np.abs(counts).max() / 2**23
    print(f"  peak {20 * np.log10(peak):.1f} dB of full scale")
    return counts * (front["full_scale_v"] / 2**23 / gain)[:, None], weight, rate_hz


def fields_of_samples(folder, settings, track):
    """Real field vectors at both nodes in the mast frame, (time, node, axis), and times."""
    volts, weight, rate_hz = read_samples(folder, settings, track)
    f_hz = carrier(volts, weight, rate_hz)
    z, time_s = lock_in(volts, weight, rate_hz, f_hz)
    fields = []
    for node in settings["array"]["node"]:
        axes, b = [], []
        for coil in node["coil"]:
            scale = 2j * np.pi * f_hz * coil["turns_area_m2"] * coil["gain"]
            b.append(z[:, coil["channel"]] / (scale * np.exp(1j * np.radians(coil["phase_deg"]))))
            axes.append(np.array(coil["axis"]) / np.linalg.norm(coil["axis"]))
        fields.append(np.linalg.solve(np.array(axes), np.array(b)).T)
    return np.concatenate(fields, axis=1), time_s, f_hz


def zero_crossings(x, y):
    k = np.flatnonzero(np.diff(np.sign(y)) != 0)
    return x[k] - y[k] * (x[k + 1] - x[k]) / (y[k + 1] - y[k])


def smooth_zeros(x, y, near):
    """Zeros of y from cubics fitted around each cluster of crossings, `near` wide.

    A straight line would not do: the field is curved at its nulls, which pushes them apart by 2 %.
    """
    found = []
    for x0 in zero_crossings(x, y):
        if not found or abs(x0 - found[-1]) > near:
            close = np.abs(x - x0) < near / 2
            roots = np.roots(np.polyfit(x[close] - x0, y[close], 3))
            found.append(x0 + min((r.real for r in roots if abs(r.imag) < 1e-9), key=abs))
    return np.array(found)


def dipole(moment, r):
    distance = np.linalg.norm(r, axis=-1, keepdims=True)
    return 1e-7 * (3 * r * (r @ moment)[..., None] / distance**5 - moment / distance**3)


def check_walk(folder, settings, truth, fields, time_s, track):
    sonde, walk = truth["sonde"], truth["walk"]
    spacing = np.array(settings["array"]["node"][1]["position_m"])
    place, rotation = pose_at(track, time_s)
    real, quadrature = in_phase(fields)
    site = np.stack([np.einsum("kij,kj->ki", rotation, real[:, n:n + 3]) for n in (0, 3)], axis=1)
    points = np.stack([place, place + np.einsum("kij,j->ki", rotation, spacing)], axis=1)
    during = lambda name, margin=0.3: (time_s > walk[name][0] + margin) & (time_s < walk[name][1] - margin)

    overhead = np.array([sonde["east_m"], sonde["north_m"]])
    lay = np.radians(sonde["lay_deg"])
    u, v = np.array([np.sin(lay), np.cos(lay)]), np.array([-np.cos(lay), np.sin(lay)])
    depth, pitch = sonde["depth_to_source_m"], np.radians(sonde["pitch_deg"])

    # Over the sonde, from the total field: exact at any pitch.
    over = during("settled")
    strength = np.linalg.norm(site[over], axis=2)
    ratio = strength[:, 0] / strength[:, 1]
    below = spacing[2] / (ratio ** (1 / 3) - 1)
    up = np.median(place[over, 2])
    report("ratio depth to source, settled", np.mean(below) - up, depth, 0.02 * depth, "m")
    print(f"  {'':34s} single readings scatter by {np.std(below):.4f} m; quadrature share {np.median(quadrature[over]):.4f}")

    # Along the lane: nulls of the component along the lay, zero of the vertical one, either node.
    lane = during("lane_along")
    along = (points[lane][:, :, :2] - overhead) @ u
    t = np.tan(pitch)
    for n in (0, 1):
        height = depth + np.median(points[lane][:, n, 2])
        nulls = smooth_zeros(along[:, n], site[lane][:, n, :2] @ u, 0.3 * height)
        nulls = nulls[np.abs(nulls) < 1.6 * height]
        expected = height * (-3 * t + np.array([-1, 1]) * np.sqrt(9 * t**2 + 8)) / 4
        if len(nulls) != 2:
            report(f"node {n} count of nulls", len(nulls), 2, 0, "")
            continue
        for name, null, want in zip(("behind", "ahead"), nulls, expected):
            report(f"node {n} null {name}, along the lay", null, want, 0.025 * height, "m")
        spread = (nulls[1] - nulls[0]) / np.sqrt(2) / np.sqrt(1 + 9 * t**2 / 8)
        report(f"node {n} null-spacing depth", spread - (height - depth), depth, 0.03 * depth, "m")
        zero = smooth_zeros(along[:, n], site[lane][:, n, 2], 0.3 * height)
        zero = zero[np.argmin(np.abs(zero))]
        # Zero of 3 x d + t (2 d^2 - x^2).
        want = 0.0 if t == 0 else height * (3 - np.sqrt(9 + 8 * t**2)) / (2 * t)
        report(f"node {n} vertical null, along the lay", zero, want, 0.025 * height, "m")

    # A dipole fitted to both lanes and the standing reading; the errors grow with the field's gradient.
    used = during("lane_along") | during("lane_across") | over
    where, what = points[used], site[used]

    def model(q):
        return dipole(q[3:] * 1e-1, where - np.array([q[0], q[1], -q[2]]))

    size = np.linalg.norm(what, axis=2, keepdims=True)
    sigma = 0.02 * size + 2e-11
    start = [*(overhead + [0.4, -0.5]), depth * 1.3, *(1.5 * u), 0.1]
    fits = [
        least_squares(lambda q: ((model(q) - s * what) / sigma).ravel(), start, loss="soft_l1") for s in (1, -1)
    ]
    best = min(fits, key=lambda fit: fit.cost)
    east, north, fit_depth, *moment = best.x
    moment = np.array(moment) * 0.1
    if moment[:2] @ u < 0:
        moment = -moment
    report("fit: east", east, overhead[0], 0.03 + 0.02 * depth, "m")
    report("fit: north", north, overhead[1], 0.03 + 0.02 * depth, "m")
    report("fit: depth to source", fit_depth, depth, 0.03 * depth, "m")
    report("fit: lay", np.degrees(np.arctan2(moment[0], moment[1])) % 180, sonde["lay_deg"], 1.5, "deg")
    report("fit: pitch", np.degrees(np.arcsin(moment[2] / np.linalg.norm(moment))), sonde["pitch_deg"], 1.5, "deg")
    report("fit: moment", np.linalg.norm(moment), sonde["moment_a_m2"], 0.05 * sonde["moment_a_m2"], "Am2")


def check_located(name):
    print(name)
    folder = CAPTURES / name
    settings = tomllib.loads((folder / "capture.toml").read_text())
    truth = tomllib.loads((folder / "truth.toml").read_text())
    if (folder / "field.csv").exists():
        track = read_columns(folder / "field.csv")
        names = [f"{n}{a}" for n in ("n0", "n1") for a in "xyz"]
        fields = np.stack([track[f"{n}_re_t"] + 1j * track[f"{n}_im_t"] for n in names], axis=1)
        time_s = track["time_s"]
    else:
        track = read_columns(folder / "track.csv")
        fields, time_s, f_hz = fields_of_samples(folder, settings, track)
        report("carrier offset", f_hz - 512, truth["sonde"]["tone_offset_hz"], 0.06, "Hz")
    check_walk(folder, settings, truth, fields, time_s, track)


def check_one_coil():
    print("one-coil")
    folder = CAPTURES / "one-coil"
    truth = tomllib.loads((folder / "truth.toml").read_text())
    samples, rate_hz = soundfile.read(folder / "samples.wav", always_2d=True)
    weight = np.ones(len(samples))
    f_hz = carrier(samples, weight, rate_hz)
    report("carrier offset", f_hz - 512, truth["sonde"]["tone_offset_hz"], 0.05, "Hz")
    z, time_s = lock_in(samples, weight, rate_hz, f_hz)
    # One coil has no neighbour to hold the sign through a null: keep the phase of the whole walk instead.
    real = (z[:, 0] * np.exp(-0.5j * np.angle(np.sum(z[:, 0] ** 2)))).real
    expected = truth["crossing"]
    for found, want in zip(smooth_zeros(time_s, real, 0.8), expected["null_s"]):
        report("null", found, want, 0.05, "s")
    k = int(np.argmax(np.abs(real)))
    near = np.abs(time_s - time_s[k]) < 0.5
    fit = np.polyfit(time_s[near], np.abs(real[near]), 2)
    report("peak", -fit[1] / (2 * fit[0]), expected["peak_s"], 0.1, "s")
    print(f"  peak {20 * np.log10(np.abs(samples).max()):.1f} dB of full scale, tone {20 * np.log10(abs(real[k])):.1f} dB")


def check_empty():
    print("empty")
    folder = CAPTURES / "empty"
    settings = tomllib.loads((folder / "capture.toml").read_text())
    volts, weight, rate_hz = read_samples(folder, settings, read_columns(folder / "track.csv"))
    z, _ = lock_in(volts, weight, rate_hz, 512.0)
    beside = np.concatenate([lock_in(volts, weight, rate_hz, f)[0] for f in (521.0, 524.0, 527.0)])
    level, floor = np.sqrt(np.mean(np.abs(z) ** 2)), np.sqrt(np.mean(np.abs(beside) ** 2))
    per_tesla = 2 * np.pi * 512 * 20
    print(f"  rms at 512 Hz {level / per_tesla * 1e12:.1f} pT, at 521 to 527 Hz {floor / per_tesla * 1e12:.1f} pT")
    report("512 Hz against its neighbourhood", level / floor, 1.0, 0.3, "")


def main():
    for name in ("level-1m", "tilted-1_6m", "field-2m"):
        check_located(name)
    check_one_coil()
    check_empty()
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()
