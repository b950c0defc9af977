"""peaks.json: test signals with the maxima and prominences that scipy finds.

Source: `scipy.signal.find_peaks`, scipy 1.17.1 (prominence as in topography; a plateau is reported at
its middle, rounded down; samples at the ends are no peaks). Samples are rounded to 6 decimals and kept
below 8, so that single precision tells apart what double does; thresholds lie half a last digit above
a round number, so that no prominence is equal to one.

scipy counts two tops of exactly the same height as two peaks even when the dip between them is shallower
than the prominence asked for. A streaming search counts them once. Such repeats are scipy's and stay in
the lists; "repeats" gives their positions in "index", so that a reader may leave them out.

One entry: {"name", "samples", "found": [{"min_prominence", "index": [...], "prominence": [...], "repeats": [...]}]}.
"""

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

from tables import write_json

THRESHOLDS = (0.0, 0.0200005, 0.1000005, 0.5000005)


def axial(x, depth, tilt):
    """Component along the lay over a sonde, relative to its value overhead when level."""
    return depth**3 * (depth**2 - 3 * tilt * x * depth - 2 * x**2) / (depth**2 + x**2) ** 2.5


def upward(x, depth, tilt):
    """Vertical component over the same sonde."""
    return depth**3 * (3 * x * depth + tilt * (2 * depth**2 - x**2)) / (depth**2 + x**2) ** 2.5


def walks(random):
    for k in range(18):
        count = int(random.integers(120, 400))
        x = np.linspace(-3.0, 3.0, count) + random.uniform(-0.5, 0.5)
        depth, tilt = random.uniform(0.5, 2.5), np.tan(np.radians(random.uniform(-25, 25)))
        component = (axial, upward)[k % 2](x, depth, tilt)
        noise = (0.0, 0.003, 0.03)[k % 3]
        shape = (lambda b: b, abs)[k // 2 % 2]
        name = f"{('axial', 'vertical')[k % 2]} {('signed', 'magnitude')[k // 2 % 2]} noise {noise:g} #{k}"
        yield name, shape(component + noise * random.normal(size=count))


def smooth(random):
    for k in range(14):
        count = int(random.integers(100, 400))
        width = random.uniform(1.0, 12.0)
        y = gaussian_filter1d(random.normal(size=count), width)
        yield f"smooth random, width {width:.1f} #{k}", y / y.std()


def plateaus(random):
    for k in range(6):
        count = int(random.integers(100, 300))
        y = gaussian_filter1d(random.normal(size=count), random.uniform(2.0, 8.0))
        yield f"quantised to plateaus #{k}", np.round(3 * y / y.std()) / 4


def edge_cases():
    n = np.arange(100)
    lone = np.zeros(100)
    lone[37] = 1.0
    pair = np.zeros(100)
    pair[[20, 70]] = 1.0
    ends = np.abs(np.linspace(-1, 1, 100))
    flat_top = np.clip(np.minimum(n, 99 - n) / 30, 0, 1)
    plateau_to_end = np.clip(n / 50, 0, 1)
    alternating = np.where(n % 2, 1.0, -1.0)
    rail = np.clip(1.5 * np.sin(n / 8), -1, 1)
    shoulder = np.clip(n / 40, 0, 1) - np.clip((n - 60) / 40, 0, 1) + np.where((n > 45) & (n < 50), -1e-6, 0)
    yield "constant", np.full(100, 0.25)
    yield "rising", n / 100
    yield "falling", -n / 100
    yield "one sample stands out", lone
    yield "two equal peaks", pair
    yield "highest at both ends", ends
    yield "flat top of even width", flat_top
    yield "plateau that runs to the end", plateau_to_end
    yield "alternating", alternating
    yield "clipped sine", rail
    yield "sine of growing amplitude", np.sin(n / 3) * n / 50
    yield "staircase up and down", np.floor(np.minimum(n, 99 - n) / 10) / 5
    yield "plateau with a dent of the last digit", shoulder
    yield "all below zero", np.sin(n / 9) - 5.0


def repeats(samples, index, least):
    """Positions in `index` of peaks as high as one before, with no dip of `least` in between."""
    found = []
    for position, at in enumerate(index):
        if any(samples[i] == samples[at] and samples[at] - samples[i:at].min() < least for i in index[:position]):
            found.append(position)
    return found


def main():
    random = np.random.default_rng(5)
    signals = [*walks(random), *smooth(random), *plateaus(random), *edge_cases()]
    entries = []
    for name, samples in signals:
        samples = np.round(samples, 6) + 0.0
        assert 100 <= len(samples) <= 400 and np.abs(samples).max() < 8
        found = []
        for least in THRESHOLDS:
            index, facts = find_peaks(samples, prominence=least)
            found.append({"min_prominence": least, "index": index.tolist(),
                          "prominence": facts["prominences"].round(6).tolist(),
                          "repeats": repeats(samples, index, least)})
        entries.append({"name": name, "samples": samples.tolist(), "found": found})
    write_json("peaks.json", entries)
    equals = sum(len(f["repeats"]) for e in entries for f in e["found"])
    counts = [sum(len(e["found"][k]["index"]) for e in entries) for k in range(len(THRESHOLDS))]
    print(f"peaks.json: {len(entries)} signals, peaks by threshold {dict(zip(THRESHOLDS, counts))}, "
          f"{equals} repeats")


if __name__ == "__main__":
    main()
