"""Open the maps of a job with programs that are not ours: check.py FOLDER.

The folder holds job.json (what `nullwalk job show --json` says of the job), earth.geojson, earth.gpkg, earth.csv,
earth.dxf and earth.kml of a job with an anchor in WGS 84, nad.gpkg of one in NAD83(2011), and grid.gpkg and grid.dxf of
one without. Readers: GDAL through pyogrio, PROJ through pyproj, GEOS through shapely, ezdxf with its audit,
geojson-pydantic for RFC 7946. Says what was checked; exits with 1 at the first thing that is not so.
"""

import csv
import json
import math
import sys
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio
import shapely
from geojson_pydantic import FeatureCollection
from pyproj import CRS, Geod

CAUTION = "no permission to dig"
# A hundredth of a millimetre per coordinate digit kept; 1 mm is what is asked.
MILLIMETRE = 1e-3


def require(holds, what):
    if not holds:
        sys.exit(f"tests/maps/check.py: {what}")


def close(a, b, tolerance=1e-6):
    return a is not None and b is not None and abs(a - b) <= tolerance


def check_stations(name, rows, stations):
    """Every station is there, with its figures to the last digit that matters, and its caution."""
    require(len(rows) == len(stations), f"{name}: {len(rows)} stations of {len(stations)}")
    for row, station in zip(rows, stations):
        where = f"{name}, station {station['number']}"
        require(int(row["station"]) == station["number"], f"{where}: is {row['station']}")
        require(row["verdict"].lower() == station["verdict"], f"{where}: verdict {row['verdict']}")
        require(CAUTION in row["caution"], f"{where}: no caution")
        located = station["verdict"] != "refuse"
        depth = station["depth_to_source_m"]
        for field, key in [("depth_to_source_m", "value"), ("depth_low95_m", "low95"), ("depth_high95_m", "high95")]:
            shown = row[field]
            shown = None if shown in ("", None) or (isinstance(shown, float) and math.isnan(shown)) else float(shown)
            require(close(shown, depth[key]) if located else shown is None, f"{where}: {field} is {shown}")
        require(close(float(row["east_m"]), station["position"]["east_m"]), f"{where}: east")
        require(float(row["sigma_long_m"]) >= station["position"]["sigma_m"] - 1e-9, f"{where}: surer on the map than in the job")


def geographic(path, layer):
    meta, _, geometry, columns = pyogrio.raw.read(path, layer=layer)
    names = list(meta["fields"])
    rows = [dict(zip(names, values)) for values in zip(*columns)]
    return meta, shapely.from_wkb(geometry), rows


def check_places(name, points, rows, anchor):
    """Bearing and distance from the anchor on the ellipsoid are those of the grid, turned by its bearing."""
    geod = Geod(ellps="WGS84")
    worst = 0.0
    for point, row in zip(points, rows):
        azimuth, _, distance = geod.inv(anchor["longitude_deg"], anchor["latitude_deg"], point.x, point.y)
        east, north = float(row["east_m"]), float(row["north_m"])
        # At a height, a length on the ellipsoid is shorter; over the few hundred metres of these sites nothing else counts.
        down = 6371000.0 / (6371000.0 + anchor["ellipsoid_height_m"])
        turned = math.radians(azimuth - anchor["bearing_deg"])
        off = math.hypot(distance * math.sin(turned) - down * east, distance * math.cos(turned) - down * north)
        worst = max(worst, off)
    # The ellipsoid's own radius differs from the sphere's by 3 in 1000, of a height's share of 1 in 10 000.
    require(worst < MILLIMETRE, f"{name}: places are off by {worst} m")
    return worst


def check_gpkg(path, stations, epsg, anchor=None):
    layers = dict(pyogrio.list_layers(path))
    kinds = {
        "stations": "Point", "uncertainty": "Polygon", "segments": "LineString", "zones": "Polygon", "trouble": "Point",
        "points": "Point",
    }
    require(kinds.items() <= layers.items(), f"{path}: layers are {layers}")
    for layer, kind in kinds.items():
        meta, shapes, rows = geographic(path, layer)
        require(meta["geometry_type"] == kind, f"{path}, {layer}: {meta['geometry_type']}")
        require(shapely.is_valid(shapes).all() and len(shapes) == len(rows) > 0, f"{path}, {layer}: shapes that are none")
        require(all(CAUTION in row["caution"] for row in rows), f"{path}, {layer}: no caution")
        if epsg is None:
            require(meta["crs"] is None or CRS(meta["crs"]).is_engineering, f"{path}: {meta['crs']} on a grid of its own")
        else:
            require(CRS(meta["crs"]) == CRS.from_epsg(epsg), f"{path}: {meta['crs']}")
    _, points, rows = geographic(path, "stations")
    check_stations(str(path), rows, stations)
    if anchor:
        check_places(str(path), points, rows, anchor)
    else:
        for point, row in zip(points, rows):
            if epsg is None:
                require(close(point.x, row["east_m"]) and close(point.y, row["north_m"]), f"{path}: grid")
    _, ellipses, facts = geographic(path, "uncertainty")
    if epsg is None:
        for ellipse, fact in zip(ellipses, facts):
            area = math.pi * fact["long_half_axis_m"] * fact["short_half_axis_m"]
            # Drawn around the ellipse with 48 corners: larger by 0.15 %, and never smaller.
            require(area <= ellipse.area <= 1.003 * area, f"{path}: an ellipse of {ellipse.area} for {area}")


def check_zones(path):
    """On the grid, every zone holds what GEOS makes of the same buffer, and is hardly larger."""
    _, points, stations = geographic(path, "stations")
    _, lines, segments = geographic(path, "segments")
    _, zones, facts = geographic(path, "zones")
    places = {(row["run"], row["station"], row["station"]): point for point, row in zip(points, stations)}
    places |= {(row["run"], row["from_station"], row["to_station"]): line for line, row in zip(lines, segments)}
    located = [row for row in stations if row["verdict"] != "Refuse"]
    require(len(zones) == len(located) + len(segments), f"{path}: {len(zones)} zones")
    for zone, fact in zip(zones, facts):
        # By hand: 24 in of common state law, and half of a pipe of 0.1 m bore with walls of 5 mm.
        require(close(fact["half_width_m"], 0.6096 + 0.055), f"{path}: a zone {fact['half_width_m']} m to a side")
        buffer = places[(fact["run"], fact["from_station"], fact["to_station"])].buffer(fact["half_width_m"], quad_segs=256)
        missed = buffer.difference(zone).area / buffer.area
        require(missed < 1e-6, f"{path}: a zone lacks {missed:.2e} of its area")
        require(zone.area < 1.004 * buffer.area, f"{path}: a zone of {zone.area} for {buffer.area}")
        require("local law" in fact["remark"], f"{path}: a zone says nothing of the law")


def check_geojson(path, stations, anchor):
    text = path.read_text(encoding="utf-8")
    collection = FeatureCollection.model_validate_json(text)
    raw = json.loads(text)
    require(CAUTION in raw["caution"], f"{path}: no caution of the whole")
    require("crs" not in raw, f"{path}: RFC 7946 knows no crs")
    require(all(CAUTION in f.properties["caution"] for f in collection.features), f"{path}: a feature without caution")
    for feature in collection.features:
        if feature.geometry.type == "Polygon":
            # RFC 7946, 3.1.6: outer rings run anticlockwise.
            ring = shapely.geometry.LinearRing(feature.geometry.coordinates[0])
            require(ring.is_ccw, f"{path}: a ring runs clockwise")
    points = [f for f in collection.features if f.properties["layer"] == "stations"]
    check_stations(str(path), [f.properties for f in points], stations)
    shapes = [shapely.geometry.shape(f.geometry.model_dump()) for f in points]
    check_places(str(path), shapes, [f.properties for f in points], anchor)
    meta, *_ = pyogrio.raw.read(path)
    require(CRS(meta["crs"]) == CRS.from_epsg(4326), f"{path}: {meta['crs']}")


def check_csv(path, stations):
    with open(path, newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    check_stations(str(path), [row for row in rows if row["layer"] == "stations"], stations)
    require({"stations", "trouble", "points"} == {row["layer"] for row in rows}, f"{path}: layers")
    dangerous = [cell for row in rows for cell in row.values() if cell[:1] in ("=", "+", "@")]
    require(not dangerous, f"{path}: a spreadsheet would run {dangerous[:1]}")


def check_dxf(path, stations):
    drawing = ezdxf.readfile(path)
    auditor = drawing.audit()
    require(not auditor.has_errors and not auditor.has_fixes, f"{path}: {auditor.errors} {auditor.fixes}")
    require(drawing.header["$INSUNITS"] == 6, f"{path}: units are not metres")
    layers = {layer.dxf.name for layer in drawing.layers}
    wanted = {"W-STATIONS", "D-STATIONS", "D-TEXT", "D-UNCERTAINTY", "D-SEGMENTS", "D-ZONES", "D-TROUBLE", "SURVEY-POINTS", "CAUTION"}
    require(wanted <= layers, f"{path}: layers are {sorted(layers)}")
    space = drawing.modelspace()
    used = {entity.dxf.layer for entity in space}
    require(used <= layers, f"{path}: entities on layers that are not there: {used - layers}")
    words = list(space.query("TEXT"))
    # At 1:200, 2.5 mm on paper are 0.5 m.
    require({round(text.dxf.height, 9) for text in words} == {0.5}, f"{path}: heights of letters")
    caution = " ".join(text.dxf.text for text in words if text.dxf.layer == "CAUTION")
    require(CAUTION in caution and "Nothing heard does not mean nothing there" in caution, f"{path}: no caution")
    marks = [c for c in space.query("CIRCLE") if c.dxf.layer.endswith("-STATIONS")]
    rows = []
    for mark in marks:
        row = {}
        for _, text in mark.get_xdata("NULLWALK")[0:]:
            name, _, value = text.partition("=")
            row[name.rstrip("+")] = row.get(name.rstrip("+"), "") + value
        require(close(mark.dxf.center.x, float(row["east_m"])), f"{path}: a mark is not where it says")
        rows.append(row)
    check_stations(str(path), rows, stations)
    for end in ("-UNCERTAINTY", "-ZONES"):
        areas = [e for e in space.query("POLYLINE CIRCLE") if e.dxf.layer.endswith(end)]
        is_closed = lambda e: e.dxftype() == "CIRCLE" or e.is_closed
        require(areas and all(map(is_closed, areas)), f"{path}: an area of a layer {end} is open")


def check_kml(path, stations):
    layers = [name for name, _ in pyogrio.list_layers(path)]
    require(layers[:4] == ["stations", "uncertainty", "segments", "zones"], f"{path}: {layers}")
    _, points, rows = geographic(path, "stations")
    for row in rows:
        row["name"] = row.get("Name")
    check_stations(str(path), rows, stations)
    require(CAUTION in path.read_text(encoding="utf-8"), f"{path}: no caution")
    require(np.isfinite(shapely.get_coordinates(points)).all(), f"{path}: places")


def main():
    folder = Path(sys.argv[1])
    job = json.loads((folder / "job.json").read_text(encoding="utf-8"))
    stations = [station for run in job["runs"] for station in run["stations"]]
    anchor = job["settings"]["anchor"]
    check_geojson(folder / "earth.geojson", stations, anchor)
    check_gpkg(folder / "earth.gpkg", stations, 4326, anchor)
    check_gpkg(folder / "nad.gpkg", stations, 6318)
    check_gpkg(folder / "grid.gpkg", stations, None)
    check_zones(folder / "grid.gpkg")
    check_csv(folder / "earth.csv", stations)
    check_dxf(folder / "earth.dxf", stations)
    check_dxf(folder / "grid.dxf", stations)
    check_kml(folder / "earth.kml", stations)
    gdal = ".".join(map(str, pyogrio.__gdal_version__))
    print(f"{len(stations)} stations, read back by GDAL {gdal}, ezdxf {ezdxf.__version__} and geojson-pydantic")


main()
