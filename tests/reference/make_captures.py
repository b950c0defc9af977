"""captures/*: recordings of a hand-carried array that this project's simulator did not make.

Sources: dipole field from magpylib 6.3.0 (Jackson, 3rd ed., eq. 5.56); WAV by soundfile 0.14.0; induced
voltage by Faraday's law. Coils, noise, mains, impulses, walk and sensors are models of our own in `handheld/`,
with invented parameters. The files follow docs/src/capture-format.md; truth.toml beside them says what was
put in.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np

from handheld import recorder, surroundings
from handheld.coils import Coil, Sonde, coil_field, emf
from handheld.recorder import FrontEnd, Sensors
from handheld.walk import Walk, wander

CAPTURES = Path(__file__).parent / "captures"
CARRY_M, SETTLED_M = 0.15, 0.05
NOTE = "independent generator in tests/reference; invented data"


def locate_walk(pace, lane_left, final):
    """Listen, walk towards the sonde, one lane along it, one across, then stand over it."""
    walk = Walk(-3.6, 1.7, np.degrees(np.arctan2(-1.7, 3.6)), CARRY_M)
    walk.stand(2.0, "listening")
    walk.go(-1.8, 0.85, pace, "approach")
    walk.go(-3.1, lane_left, 0.8)
    walk.turn(0.0)
    walk.go(3.0, lane_left, pace, "lane_along")
    walk.go(0.04, 2.0, 0.9)
    walk.turn(90.0)
    walk.go(0.04, -2.0, pace, "lane_across")
    walk.go(*final, 0.7)
    walk.turn(0.0)
    walk.lower(SETTLED_M, 0.8)
    walk.stand(6.0, "settled")
    return walk


def make_node(random, centre, channels, axes, turns_area_m2):
    """Three coils as built: not quite square to each other, of unequal gain and phase."""
    coils = []
    for channel, axis in zip(channels, axes):
        skew = np.array(axis, dtype=float) + 0.015 * random.normal(size=3)
        coils.append(Coil(
            channel, np.array(centre), skew / np.linalg.norm(skew), turns_area_m2,
            gain=1 + 0.03 * random.normal(), phase_deg=1.5 * random.normal(),
        ))
    return coils


def calibrated(random, coils):
    """The same coils as a calibration finds them, with what it leaves wrong."""
    return [
        replace(
            c, axis=c.axis + 0.001 * random.normal(size=3),
            gain=c.gain * (1 + 0.001 * random.normal()), phase_deg=c.phase_deg + 0.1 * random.normal(),
        )
        for c in coils
    ]


def carrier_phase(random, time_s, carrier_hz, drift_hz):
    """Phase of a carrier that starts anywhere and drifts in a straight line through its mean."""
    middle = time_s[-1] / 2
    turns = carrier_hz * time_s + 0.5 * drift_hz * ((time_s - middle) ** 2 - middle**2) / middle
    return 2 * np.pi * turns + random.uniform(0, 2 * np.pi)


def coil_volts(random, coils, poses, time_s, sonde, phase, mains, impulses, noise):
    """Voltages of all coils from everything around them."""
    volts = np.zeros((len(time_s), len(coils)))
    if sonde:
        for coil in coils:
            volts[:, coil.channel] += emf(coil, poses, coil_field(coil, poses, sonde.field), phase, time_s)
    surroundings.add_earth(volts, coils, poses, time_s)
    mains.add_to(volts, coils, poses, time_s)
    surroundings.add_impulses(random, volts, coils, time_s, *impulses)
    surroundings.add_noise(random, volts, coils, time_s, *noise)
    return volts


def truth_toml(title, sonde, carrier_hz, mains, walk):
    """What was put in, and when the walk did what."""
    text = f"# {title}\npresent = {'true' if sonde else 'false'}\n"
    if mains:
        text += f"mains_hz = {mains.base_hz}\n"
    if sonde:
        east, north = sonde.overhead_en
        text += (
            f"\n[sonde]\neast_m = {east}\nnorth_m = {north}\n"
            f"depth_to_source_m = {sonde.depth_m}  # below the ground, which is at up = 0\n"
            f"lay_deg = {sonde.lay_deg}  # clockwise from north\n"
            f"pitch_deg = {sonde.pitch_deg}  # positive: the end towards lay_deg is raised\n"
            f"moment_a_m2 = {sonde.moment_a_m2}\n"
            f"tone_offset_hz = {carrier_hz - 512.0:.3f}  # mean over the capture, from 512 Hz\n"
        )
    if walk.marks:
        text += "\n[walk]  # start and end of each part, seconds\n"
        text += "".join(f"{k} = [{a:.2f}, {b:.2f}]\n" for k, (a, b) in walk.marks.items())
    return text


def folder(name):
    path = CAPTURES / name
    path.mkdir(parents=True, exist_ok=True)
    return path


def head_toml(note, signal=""):
    return (
        f'format = "nullwalk-capture"\nversion = 1\n\n[made]\nby = "{NOTE}"\nnote = "{note}"\n\n'
        f"[signal]\n{signal}tone_hz = 512.0\n\n"
    )


def level_1m():
    """Level sonde at 1 m, one gain rung throughout, 24 bits."""
    random = np.random.default_rng(1001)
    title = "level sonde 1 m down, fixed gain rung, 60 Hz mains"
    sonde = Sonde((2.37, -1.12), 1.0, 35.0, 0.0, 0.22)
    walk = locate_walk(0.56, 0.05, (0.015, -0.02))
    poses = walk.poses(random, sonde.overhead_en, sonde.lay_deg, sway_deg=1.3)
    rate_hz, carrier_hz = 4000, 513.3
    time_s = np.arange(int(poses.time_s[-1] * rate_hz)) / rate_hz

    axes = np.eye(3)
    nodes = [
        make_node(random, [0.0, 0.0, 0.0], (0, 1, 2), axes, 23.5),
        make_node(random, [0.012, -0.006, 0.45], (3, 4, 5), axes, 23.5),
    ]
    coils = nodes[0] + nodes[1]
    mains = surroundings.Mains(random, 60.0, 0.015, {
        1: 18e-9, 2: 0.4e-9, 3: 6e-9, 4: 0.15e-9, 5: 2.5e-9, 6: 0.1e-9, 7: 1.6e-9, 8: 0.15e-9, 9: 0.6e-9,
        10: 0.05e-9, 11: 0.5e-9, 13: 0.3e-9, 15: 0.2e-9, 17: 0.12e-9, 19: 0.1e-9, 21: 0.06e-9, 25: 0.05e-9,
    })
    phase = carrier_phase(random, time_s, carrier_hz, 0.03)
    volts = coil_volts(random, coils, poses, time_s, sonde, phase, mains, (0.5, 0.12e-3), (0.28e-6, 0.06e-6))

    front_end = FrontEnd(2.048, [2.0, 16.0, 120.0], 0.02, 24)
    path = folder("level-1m")
    recorder.write_wav(path / "samples.wav", front_end.convert(volts, rate_hz, [(0, 2)]), rate_hz, 24)
    rows = np.arange(0.0, time_s[-1] - 0.05, 0.1)
    rows[1:] += 0.013 + 0.002 * random.normal(size=len(rows) - 1)
    rows = np.round(rows, 3)
    columns = recorder.measure(random, Sensors(0.009, 0.006), poses, rows, wander)
    columns["rung"] = ["2"] * len(rows)
    recorder.write_columns(path / "track.csv", columns)
    known = [([0, 0, 0], calibrated(random, nodes[0])), ([0.012, -0.006, 0.45], calibrated(random, nodes[1]))]
    (path / "capture.toml").write_text(
        head_toml(title, f"sample_rate_hz = {rate_hz}.0\nchannels = 6\n") + front_end.toml() + "\n"
        + recorder.array_toml(known, 0.05, 0.002, "bench loop")
    )
    (path / "truth.toml").write_text(truth_toml(title, sonde, carrier_hz, mains, walk))


def tilted_1_6m():
    """Pitched sonde at 1.6 m, gain rungs that change, 16 bits; channels permuted and one coil mounted backwards."""
    random = np.random.default_rng(1602)
    title = "sonde 1.6 m down, pitched 10 degrees, gain rungs change, wandering 50 Hz mains"
    sonde = Sonde((-4.05, 6.6), 1.6, 118.0, 10.0, 0.24)
    walk = locate_walk(0.6, -0.05, (-0.02, 0.01))
    poses = walk.poses(random, sonde.overhead_en, sonde.lay_deg, sway_deg=2.6)
    rate_hz, carrier_hz = 8000, 511.2
    time_s = np.arange(int(poses.time_s[-1] * rate_hz)) / rate_hz

    lower_axes, upper_axes = [[1, 0, 0], [0, -1, 0], [0, 0, 1]], np.eye(3)
    nodes = [
        make_node(random, [0.0, 0.0, 0.0], (4, 0, 2), lower_axes, 17.2),
        make_node(random, [0.0, 0.0, 0.38], (5, 1, 3), upper_axes, 17.2),
    ]
    coils = nodes[0] + nodes[1]
    mains = surroundings.Mains(random, 50.0, 0.06, {
        1: 9e-9, 2: 0.3e-9, 3: 4e-9, 4: 0.1e-9, 5: 3e-9, 6: 0.08e-9, 7: 1.1e-9, 9: 0.5e-9, 10: 0.12e-9,
        11: 0.6e-9, 13: 0.4e-9, 15: 0.2e-9, 17: 0.15e-9, 19: 0.1e-9, 23: 0.08e-9, 29: 0.05e-9, 37: 0.03e-9,
    })
    phase = carrier_phase(random, time_s, carrier_hz, -0.05)
    volts = coil_volts(random, coils, poses, time_s, sonde, phase, mains, (0.4, 0.1e-3), (0.22e-6, 0.05e-6))

    # Rows 75 ms late against a round tenth, to the millisecond; the rung is written only where it changes.
    rows = np.round(np.arange(0.0, time_s[-1] - 0.08, 0.1) + 0.075, 3)
    changes = [(0.0, 3), (walk.marks["approach"][0] + 1.5, 2), (walk.marks["lane_along"][1] - 0.4, 3),
               (walk.marks["lane_across"][0] - 0.9, 2)]
    rows = np.concatenate([[0.0], rows])
    cells, rungs = [""] * len(rows), []
    for wanted_s, rung in changes:
        row = int(np.searchsorted(rows, wanted_s))
        cells[row] = str(rung)
        rungs.append((int(round(rows[row] * rate_hz)), rung))

    front_end = FrontEnd(1.25, [1.0, 8.0, 40.0, 200.0], 0.025, 16)
    path = folder("tilted-1_6m")
    recorder.write_wav(path / "samples.wav", front_end.convert(volts, rate_hz, rungs), rate_hz, 16)
    columns = recorder.measure(random, Sensors(0.012, 0.008, heading_bias_deg=-0.4), poses, rows, wander)
    columns["rung"] = cells
    recorder.write_columns(path / "track.csv", columns)
    known = [([0, 0, 0], calibrated(random, nodes[0])), ([0, 0, 0.38], calibrated(random, nodes[1]))]
    (path / "capture.toml").write_text(
        head_toml(title) + front_end.toml() + "\n" + recorder.array_toml(known, 0.05, 0.003, "bench loop")
    )
    (path / "truth.toml").write_text(truth_toml(title, sonde, carrier_hz, mains, walk))


def one_coil():
    """A single coil on a sound card, rolled along the lay at an even pace; no capture.toml."""
    random = np.random.default_rng(44)
    title = "one coil along the lay on a sound card: WAV alone"
    sonde = Sonde((0.0, 0.0), 1.2, 0.0, 0.0, 0.15)
    walk = Walk(-2.9, 0.0, 0.0, CARRY_M)
    walk.go(2.9, 0.0, 0.5, "lane_along")
    poses = walk.poses(random, sonde.overhead_en, sonde.lay_deg, sway_deg=0.0, bob_m=0.0)
    rate_hz, carrier_hz = 44100, 512.6
    time_s = np.arange(int(poses.time_s[-1] * rate_hz)) / rate_hz
    coil = Coil(0, np.zeros(3), np.array([1.0, 0.0, 0.0]), 12.0, radius_m=0.03)
    mains = surroundings.Mains(random, 50.0, 0.02, {1: 25e-9, 3: 5e-9, 5: 2e-9, 7: 0.8e-9, 9: 0.3e-9, 11: 0.2e-9})
    phase = carrier_phase(random, time_s, carrier_hz, 0.0)
    volts = coil_volts(random, [coil], poses, time_s, sonde, phase, mains, (0.3, 0.05e-3), (0.2e-6, 0.02e-6))
    front_end = FrontEnd(1.0, [250.0], 0.0, 16)
    path = folder("one-coil")
    recorder.write_wav(path / "samples.wav", front_end.convert(volts, rate_hz, [(0, 0)]), rate_hz, 16)

    b = coil_field(coil, poses, sonde.field)
    at = poses.time_s
    crossings = np.flatnonzero(np.diff(np.sign(b)))
    nulls = [at[k] - b[k] * (at[k + 1] - at[k]) / (b[k + 1] - b[k]) for k in crossings]
    first, second = crossings
    strength = np.abs(b)
    peaks = [np.argmax(strength[:first]), first + np.argmax(strength[first:second]), second + np.argmax(strength[second:])]
    text = truth_toml(title, sonde, carrier_hz, mains, walk)
    text += (
        "\n[crossing]  # of the coil's own component, without noise\n"
        f"null_s = [{nulls[0]:.3f}, {nulls[1]:.3f}]\npeak_s = {at[peaks[1]]:.3f}\n"
        f"side_peak_s = [{at[peaks[0]]:.3f}, {at[peaks[2]]:.3f}]\n"
        f"side_peak_ratio = [{strength[peaks[0]] / strength[peaks[1]]:.4f}, {strength[peaks[2]] / strength[peaks[1]]:.4f}]\n"
        f"pace_m_s = 0.5\ncoil_above_sonde_m = {sonde.depth_m + CARRY_M:.2f}\n"
    )
    (path / "truth.toml").write_text(text)


def field_2m():
    """Already demodulated phasors at 10 Hz over a sonde 2 m down."""
    random = np.random.default_rng(2000)
    title = "demodulated phasors, level sonde 2 m down"
    sonde = Sonde((11.4, 3.25), 2.0, 160.0, 0.0, 0.2)
    walk = locate_walk(0.55, 0.04, (0.02, 0.015))
    poses = walk.poses(random, sonde.overhead_en, sonde.lay_deg, sway_deg=1.5)
    spacing, window_s, sigma_t = 0.5, 0.25, 12e-12
    time_s = np.arange(0.15, poses.time_s[-1] - 0.15, 0.1)

    turns = 0.04 * time_s + random.uniform()
    columns = {}
    for name, position in (("n0", np.zeros(3)), ("n1", np.array([0, 0, spacing]))):
        coils = [Coil(k, position, axis, 20.0) for k, axis in enumerate(np.eye(3))]
        for axis, coil in zip("xyz", coils):
            b = coil_field(coil, poses, sonde.field)
            lag = np.linspace(-window_s / 2, window_s / 2, 51)
            weight = np.cos(np.pi * lag / window_s) ** 2
            seen = np.interp(time_s[:, None] + lag, poses.time_s, b) @ weight / weight.sum()
            z = seen * np.exp(2j * np.pi * turns)
            z += sigma_t * (random.normal(size=len(z)) + 1j * random.normal(size=len(z)))
            columns[f"{name}{axis}_re_t"] = [f"{x:.6e}" for x in z.real]
            columns[f"{name}{axis}_im_t"] = [f"{x:.6e}" for x in z.imag]
    track = recorder.measure(random, Sensors(0.01, 0.007), poses, time_s, wander)
    columns = {"time_s": track.pop("time_s"), **columns, "sigma_t": [f"{sigma_t:.3e}"] * len(time_s), **track}
    path = folder("field-2m")
    recorder.write_columns(path / "field.csv", columns)
    nodes = [
        (p, [Coil(first + k, None, axis, 20.0) for k, axis in enumerate(np.eye(3))])
        for p, first in (([0, 0, 0], 0), ([0, 0, spacing], 3))
    ]
    (path / "capture.toml").write_text(head_toml(title) + recorder.array_toml(nodes, 0.05, 0.003, "none needed: simulated"))
    (path / "truth.toml").write_text(truth_toml(title, sonde, 512.0, None, walk))


def empty():
    """Mains and impulses, and no sonde."""
    random = np.random.default_rng(20)
    title = "no sonde: mains, impulses and noise alone"
    walk = Walk(-2.5, 0.0, 0.0, CARRY_M)
    walk.stand(3.0)
    walk.go(2.5, 0.0, 0.6)
    walk.go(0.0, 0.5, 0.6)
    walk.lower(SETTLED_M, 0.8)
    walk.stand(2.0)
    poses = walk.poses(random, (0.0, 0.0), 75.0, sway_deg=2.0)
    rate_hz = 4000
    time_s = np.arange(int(min(poses.time_s[-1], 20.0) * rate_hz)) / rate_hz
    axes = np.eye(3)
    coils = make_node(random, [0, 0, 0], (0, 1, 2), axes, 20.0) + make_node(random, [0, 0, 0.4], (3, 4, 5), axes, 20.0)
    mains = surroundings.Mains(random, 50.0, 0.03, {
        1: 60e-9, 2: 1e-9, 3: 25e-9, 5: 12e-9, 7: 6e-9, 9: 3e-9, 10: 0.3e-9, 11: 2e-9, 13: 1e-9, 15: 0.8e-9,
        17: 0.5e-9, 19: 0.4e-9, 21: 0.3e-9, 23: 0.2e-9, 25: 0.2e-9,
    })
    volts = coil_volts(random, coils, poses, time_s, None, None, mains, (3.0, 0.3e-3), (0.28e-6, 0.1e-6))
    front_end = FrontEnd(2.5, [1.0, 10.0, 100.0], 0.02, 16)
    path = folder("empty")
    recorder.write_wav(path / "samples.wav", front_end.convert(volts, rate_hz, [(0, 2)]), rate_hz, 16)
    rows = np.arange(0, time_s[-1], 0.1)
    columns = recorder.measure(random, Sensors(0.01, 0.005), poses, rows, wander)
    columns["rung"] = ["2"] + [""] * (len(rows) - 1)
    recorder.write_columns(path / "track.csv", columns)
    # Default array, with no calibration of what is really there: an uncalibrated instrument hears no sonde either.
    (path / "capture.toml").write_text(head_toml(title) + front_end.toml())
    (path / "truth.toml").write_text(truth_toml(title, None, 512.0, mains, walk))


def main():
    for make in (level_1m, tilted_1_6m, one_coil, field_2m, empty):
        make()
    for path in sorted(CAPTURES.rglob("*")):
        if path.is_file():
            print(f"{path.stat().st_size:9d} {path.relative_to(CAPTURES)}")


if __name__ == "__main__":
    main()
