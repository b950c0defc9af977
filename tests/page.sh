#!/usr/bin/env bash
# The local page in a browser: page.sh NULLWALK [PICTURES]. Makes itself a pinned Python environment; pictures of the
# pages go into the folder PICTURES, if one is named.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
nullwalk=$1
pictures=${2:-}
source "$here/python.sh"
pinned_python page "$here/page/requirements.txt"

work=$(mktemp -d)
serving=
trap '[ -z "$serving" ] || kill "$serving"; rm -rf "$work"' EXIT
[ -z "$pictures" ] || pictures=$(mkdir -p "$pictures" && cd "$pictures" && pwd)
cd "$work"
quietly() { "$@" >said 2>&1 || [ $? -ge 3 ] || { cat said; return 1; }; }

quietly "$nullwalk" locate drain-run --job yard.job
quietly "$nullwalk" record drain-run recorded
"$python" "$here/maps/make_book.py" water.json 120 "water <main> under the street with a long name"
quietly "$nullwalk" job import yard.job water.json
quietly "$nullwalk" job point yard.job "house corner" --east 6 --north 7 --description "north-east, at the downpipe"
quietly "$nullwalk" job point yard.job "gatepost" --east -2 --north 3
quietly "$nullwalk" job tie yard.job --run "$("$nullwalk" job show yard.job --json 2>/dev/null |
    "$python" -c 'import json, sys; print(json.load(sys.stdin)["runs"][0]["name"])')" \
    --station 2 --point "house corner" --distance "4.80 m ± 2 cm"
quietly "$nullwalk" job anchor yard.job --latitude 47.05 --longitude 8.3 --ellipsoid-height 480 --datum WGS84 --sigma 0.02
quietly "$nullwalk" job note yard.job "Gate code at the office."

"$nullwalk" serve yard.job --port 0 >address 2>said &
serving=$!
for _ in $(seq 100); do
    [ -s address ] && break
    sleep 0.1
done
address=$(sed -n 's/^page *//p' address)
[ -n "$address" ] || { cat said; exit 1; }
"$environment/bin/python" "$here/page/visit.py" "$address" recorded/station-1 "$pictures"
kill -INT "$serving"
wait "$serving"
serving=
