"""Places about anchors on the Earth: data/earth.csv, by pyproj 3.7.2 (PROJ 9.5.1).

A grid's origin anywhere on four datums, its north turned; points of it up to 10 km off, as high as the origin in the
tangent plane, by PROJ's `topocentric` and `cart`. The turn of the grid is by hand.
"""

import csv
import math

import numpy as np
from pyproj import CRS, Transformer

DATUMS = {"WGS 84": 4326, "ETRS89": 4258, "NAD83(2011)": 6318, "GDA2020": 7844}


def main():
    rng = np.random.default_rng(7946)
    with open("data/earth.csv", "w", newline="", encoding="utf-8") as out:
        rows = csv.writer(out)
        rows.writerow(["datum", "lat0_deg", "lon0_deg", "height0_m", "bearing_deg", "east_m", "north_m", "lat_deg", "lon_deg", "height_m"])
        for name, epsg in DATUMS.items():
            shape = CRS.from_epsg(epsg).ellipsoid
            ellipsoid = f"+a={shape.semi_major_metre!r} +rf={shape.inverse_flattening!r}"
            for _ in range(60):
                lat0, lon0 = math.degrees(math.asin(rng.uniform(-0.999, 0.999))), rng.uniform(-180, 180)
                height0, bearing = rng.uniform(-100, 4000), rng.uniform(0, 360)
                r, turn = 10_000 * math.sqrt(rng.random()), rng.uniform(0, 2 * math.pi)
                east, north = r * math.sin(turn), r * math.cos(turn)
                b = math.radians(bearing)
                true_east = math.cos(b) * east + math.sin(b) * north
                true_north = math.cos(b) * north - math.sin(b) * east
                pipeline = (
                    f"+proj=pipeline +step +inv +proj=topocentric {ellipsoid} +lat_0={lat0!r} +lon_0={lon0!r} +h_0={height0!r} "
                    f"+step +inv +proj=cart {ellipsoid} +step +proj=unitconvert +xy_in=rad +xy_out=deg"
                )
                lon, lat, height = Transformer.from_pipeline(pipeline).transform(true_east, true_north, 0.0)
                rows.writerow([name, *(repr(float(v)) for v in (lat0, lon0, height0, bearing, east, north, lat, lon, height))])


main()
