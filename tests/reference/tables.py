"""Where the generators put their tables, and how numbers are written there."""

import csv
import json
from pathlib import Path

DATA = Path(__file__).parent / "data"


def write_csv(name, header, rows):
    """Write rows of numbers and words; floats with 17 significant digits, enough to restore every bit."""
    with open(DATA / name, "w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows([_cell(x) for x in row] for row in rows)


def write_json(name, value):
    """Write one JSON document, one list item of the top two levels to a line."""
    (DATA / name).write_text(_lines(value, 2) + "\n")


def _cell(x):
    return x if isinstance(x, (str, int)) else f"{x:.17g}"


def _lines(value, levels, indent=""):
    if levels == 0 or not isinstance(value, (dict, list)) or not value:
        return json.dumps(value)
    inner = indent + " "
    if isinstance(value, dict):
        items = [f"{inner}{json.dumps(k)}: {_lines(v, levels - 1, inner)}" for k, v in value.items()]
        return "{\n" + ",\n".join(items) + f"\n{indent}}}"
    items = [inner + _lines(v, levels - 1, inner) for v in value]
    return "[\n" + ",\n".join(items) + f"\n{indent}]"
