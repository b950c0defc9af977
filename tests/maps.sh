#!/usr/bin/env bash
# The maps and sheets of a job, opened by programs that are not ours: maps.sh NULLWALK. Makes itself a pinned Python environment.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
nullwalk=$1
source "$here/python.sh"
pinned_python maps "$here/maps/requirements.txt"

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
quietly() { "$@" 2>said || { cat said; return 1; }; }

"$python" "$here/maps/make_book.py" drain.json 40 "drain"
"$python" "$here/maps/make_book.py" water.json 12 "=water, \"main\" <100 %% ä>"
quietly "$nullwalk" job new grid.job --title "Yard & <street>"
quietly "$nullwalk" job import grid.job drain.json water.json
quietly "$nullwalk" job correct grid.job 45 --set utility='"water"' --reason "seen at the valve"
quietly "$nullwalk" job point grid.job "gatepost, north" --east -3 --north 2
for kind in gpkg dxf; do quietly "$nullwalk" job export grid.job --out "grid.$kind" --scale 200; done
for datum in earth:WGS84 "nad:NAD83(2011)"; do
    cp grid.job "${datum%%:*}.job"
    quietly "$nullwalk" job anchor "${datum%%:*}.job" --latitude 47.05 --longitude 8.3 --ellipsoid-height 480 \
        --datum "${datum#*:}" --sigma 0.02 --bearing 12 --bearing-sigma 0.1
done
quietly "$nullwalk" job export nad.job --out nad.gpkg
for kind in geojson gpkg csv dxf kml; do quietly "$nullwalk" job export earth.job --out "earth.$kind" --scale 200; done
quietly "$nullwalk" job show earth.job --json >job.json
# What takes WGS 84 only takes no other, and says so.
if "$nullwalk" job export nad.job --out nad.geojson 2>said || ! grep -q "takes WGS 84 only" said || [ -e nad.geojson ]; then
    echo "A GeoJSON was written in NAD83(2011)."
    exit 1
fi
"$environment/bin/python" "$here/maps/check.py" .

# A sheet says the same on the screen and on paper, whatever is on record.
quietly "$nullwalk" job tie grid.job --run drain --station 2 --point "gatepost, north" --distance "6.1 m"
quietly "$nullwalk" job sweep grid.job --area "the yard" --method "passive mains, lanes 0.5 m apart" \
    --source "a cable with 50 mA" --sees-to "1.2 m" --found "nothing"
quietly "$nullwalk" job line grid.job --name "gas main <2\"> & \\ 排" --utility gas --known-by "the owner's plan" --not-found \
    --at "-4,3" --at "20,30"
quietly "$nullwalk" job line grid.job --name "$(printf 'x%.0s' {1..900})" --utility electric --known-by "paint" \
    --at "-4,-3" --at "30,5"
for paper in a4 letter; do
    for units in metric feet; do
        for kind in html pdf; do
            said=0
            "$nullwalk" sheet grid.job --run drain --out "sheet.$kind" --paper "$paper" --units "$units" \
                --ticket "T-1" --valid-until "Friday" --tolerance "18 in" 2>/dev/null || said=$?
            [ "$said" = 4 ] || { echo "sheet: exit status $said"; exit 1; }
        done
        "$environment/bin/python" "$here/maps/check_sheet.py" sheet.html sheet.pdf "$paper"
    done
done
if "$nullwalk" sheet grid.job --run drain --paper foolscap 2>said || ! grep -q "possible values: a4, letter" said; then
    echo "A sheet was drawn on paper that nobody knows."
    exit 1
fi
if "$nullwalk" sheet grid.job --run drain --out no.pdf --tolerance=-3 2>said || ! grep -q -- "--tolerance" said || [ -e no.pdf ]; then
    echo "A sheet was drawn with a zone of negative width."
    exit 1
fi
