"""wires.csv, grounded.csv, wire_depths.csv: long lines, pairs, bends, ends and tees, from libraries.

Sources: magpylib 6.3.0 `current.Polyline` and geoana 0.8.1 `LineCurrentFreeSpace`, with wires of 2 x 200 km for what is
infinitely long; for grounded wires empymod 2.6.1, `bipole`, at 0.01 Hz in a half-space, and in one of two layers.

wires.csv        kind of wire; current; direction and separation of the conductors (zero for a single line); the point as
                 seen from the middle; field by either library
grounded.csv     whether the ground is layered; current; the point as seen from either end of a buried level wire; field
                 above the ground by empymod
wire_depths.csv  what a wire 0.8 m down does to a depth from two nodes 0.4 m apart straight above it, the lower one on the
                 ground: before an end, before an elbow of 90 degrees, before and after a tee that takes 30 %;
                 share by which the depth is off, from the total field and from the horizontal component across the wire
"""

import empymod
import geoana.em.static as static
import magpylib
import numpy as np

from tables import write_csv

FAR_M = 2e5
SPACING_M = 0.4


def magpylib_field(current, corners, point):
    return magpylib.current.Polyline(current=current, vertices=corners).getB(point)


def geoana_field(current, corners, point):
    return static.LineCurrentFreeSpace(np.array(corners), current=current).magnetic_flux_density(point[None, :])[0]


def long_rows(random):
    for k in range(160):
        current = random.choice([-1, 1]) * 10 ** random.uniform(-3, 1)
        axis = random.normal(size=3)
        axis /= np.linalg.norm(axis)
        aside = np.cross(axis, random.normal(size=3))
        aside *= 10 ** random.uniform(-1, 1) / np.linalg.norm(aside)
        apart = np.zeros(3)
        if k % 2:
            apart = np.cross(axis, random.normal(size=3))
            apart *= 10 ** random.uniform(-2, 0) / np.linalg.norm(apart)
        point = aside + axis * random.uniform(-3, 3)
        found = []
        for library in (magpylib_field, geoana_field):
            wires = [(current, 0.5 * apart), (-current, -0.5 * apart)] if k % 2 else [(current, np.zeros(3))]
            found.append(sum(library(i, [at - FAR_M * axis, at + FAR_M * axis], point) for i, at in wires))
        gap = np.linalg.norm(found[0] - found[1]) / np.linalg.norm(found[0])
        assert gap < 1e-6, f"the libraries differ by {gap:g} at row {k}"
        yield ["pair" if k % 2 else "line", current, *(3 * axis), *apart, *point, *found[0], *found[1]]


def empymod_field(current, start, end, point, layered):
    """Above the ground, which is at z = 0; empymod counts downwards, so y and z turn round."""
    ohm_m = [2e14, 30, 300] if layered else [2e14, 100]
    depths = [0, 2.5] if layered else [0]
    source = [start[0], end[0], -start[1], -end[1], -start[2], -end[2]]
    found = []
    for azimuth, dip in ((0, 0), (90, 0), (0, 90)):
        receiver = [point[0], -point[1], -point[2], azimuth, dip]
        h = empymod.bipole(source, receiver, depths, ohm_m, 0.01, srcpts=40, mrec=True, strength=current,
                           htarg={"dlf": "anderson_801_1982"}, verb=0)
        # empymod's magnetic receiver gives minus H.
        found.append(h.real)
    return 4e-7 * np.pi * np.array([found[0], -found[1], -found[2]])


def grounded_rows(random):
    for k in range(24):
        layered = k % 2
        length, bearing, depth = random.uniform(1, 20), random.uniform(0, 2 * np.pi), random.uniform(0.4, 2)
        along = length * np.array([np.cos(bearing), np.sin(bearing), 0])
        start = np.array([0, 0, -depth])
        # Nowhere straight above the wire, where digital filters are poor, nor far from it.
        left = np.array([-along[1], along[0], 0]) / length
        point = start + random.uniform(-0.3, 1.3) * along + random.choice([-1, 1]) * random.uniform(0.5, 2) * left
        point[2] = random.uniform(0.1, 1.5)
        current = 10 ** random.uniform(-2, 1)
        field = empymod_field(current, start, start + along, point, layered)
        yield ["layered" if layered else "even", current, *(point - start), *(point - start - along), *field]


def depth_rows():
    depth = 0.8
    cases = []
    for distance in (0.5, 1.0, 2.0, 5.0):
        end = np.array([distance, 0, -depth])
        back = np.array([-FAR_M, 0, -depth])
        cases.append(("end", distance, [(1.0, [back, end])]))
        cases.append(("elbow", distance, [(1.0, [back, end, end + [0, FAR_M, 0]])]))
        for name, sign in (("tee ahead", 1), ("tee behind", -1)):
            tee = np.array([sign * distance, 0, -depth])
            wires = [(1.0, [back, tee]), (0.7, [tee, np.array([FAR_M, 0, -depth])]), (0.3, [tee, tee + [0, FAR_M, 0]])]
            cases.append((name, distance, wires))
    for name, distance, wires in cases:
        shares = []
        for library in (magpylib_field, geoana_field):
            low, high = (sum(library(i, c, np.array([0, 0, z])) for i, c in wires) for z in (0.0, SPACING_M))
            total = SPACING_M / (np.linalg.norm(low) / np.linalg.norm(high) - 1)
            across = SPACING_M / (low[1] / high[1] - 1)
            shares.append((total / depth - 1, across / depth - 1))
        assert np.allclose(*shares, atol=1e-4), name
        print(f"{name} at {distance} m: total {100 * shares[0][0]:+.1f} %, across {100 * shares[0][1]:+.1f} %")
        yield [name, distance, *shares[0]]


def main():
    random = np.random.default_rng(77)
    header = ["kind", "current_a"] + [f"{v}_{a}_m" for v in ("along", "apart", "point") for a in "xyz"]
    write_csv("wires.csv", header + [f"{by}_b{a}_t" for by in ("magpylib", "geoana") for a in "xyz"], long_rows(random))
    header = ["ground", "current_a"] + [f"from_{end}_{a}_m" for end in ("start", "end") for a in "xyz"]
    write_csv("grounded.csv", header + [f"b{a}_t" for a in "xyz"], grounded_rows(random))
    write_csv("wire_depths.csv", ["kind", "distance_m", "total", "across"], depth_rows())


if __name__ == "__main__":
    main()
