"""Write a run as a book of the first version, for the tests of maps: make_book.py FILE STATIONS [NAME].

A drain that falls at 1 in 50 along a gentle arc, a station every 4 m, every seventh in doubt, every eleventh refused.
Standard library only.
"""

import json
import math
import sys


def station(n):
    along = 4.0 * n
    bearing = 0.6 + along / 400.0
    # On an arc: its chord from the start.
    chord = 400.0 * 2.0 * math.sin(along / 800.0)
    mean = 0.6 + along / 800.0
    east, north = chord * math.sin(mean), chord * math.cos(mean)
    depth = 0.9 + 0.02 * min(along, 400.0)
    verdict = "refuse" if n % 11 == 10 else "doubt" if n % 7 == 6 else "agree"
    sigma = 0.03 if verdict == "agree" else 0.1
    reasons = [] if verdict == "agree" else [
        {"code": "x", "sentence": "Two methods differ, by \"a lot\"; see <the walk> & repeat: ä 排.", "remedy": "Walk again."}
    ]
    return {
        "number": n + 1,
        "name": f"mark {n + 1}",
        "position": {"east_m": east, "north_m": north, "sigma_m": 0.04},
        "lay_deg": {"value": math.degrees(bearing) % 180.0, "sigma": 2.0},
        "depth_to_source_m": {"value": depth, "sigma": sigma, "low95": depth - 1.96 * sigma, "high95": depth + 1.96 * sigma},
        "shallow_bound_m": max(0.0, depth - 0.3),
        "verdict": verdict,
        "reasons": reasons,
        "trouble_spot": n == 3,
    }


def main():
    name = sys.argv[3] if len(sys.argv) > 3 else "drain"
    pipe = {"bore_m": 0.1, "wall_m": 0.005, "beacon_diameter_m": 0.03}
    run = {"title": name, "pipe": pipe, "stations": [station(n) for n in range(int(sys.argv[2]))]}
    with open(sys.argv[1], "w", encoding="utf-8") as out:
        json.dump({"format": "nullwalk-run", "version": 1, "run": run}, out)


main()
