"""Makes the coast of the page's map: `python tools/coast.py land-110m.json > src/hearmark/web/static/coast.json`.

Input: TopoJSON of the npm package world-atlas 2.0.2, which repacks Natural Earth's land at 1:110 million (public
domain, naturalearthdata.com). Output: rings of longitude, latitude in tenths of a degree, with their origin.
"""

import json
import sys
from pathlib import Path


def main() -> None:
    """Reads the file named, writes to standard output."""
    topology = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    (sx, sy), (tx, ty) = topology["transform"]["scale"], topology["transform"]["translate"]
    arcs = []
    for arc in topology["arcs"]:
        x = y = 0
        points = []
        for dx, dy in arc:
            x, y = x + dx, y + dy
            points.append([round((x * sx + tx) * 10), round((y * sy + ty) * 10)])
        arcs.append(points)
    rings = []
    for geometry in topology["objects"]["land"]["geometries"]:
        polygons = geometry["arcs"] if geometry["type"] == "MultiPolygon" else [geometry["arcs"]]
        for polygon in polygons:
            for ring in polygon:
                points = []
                for index in ring:
                    part = arcs[index] if index >= 0 else arcs[~index][::-1]
                    points += part if not points else part[1:]
                rings.append([value for point in points for value in point])
    origin = "Natural Earth, land 1:110m, public domain, by way of the npm package world-atlas 2.0.2; degrees / 10"
    print(json.dumps({"origin": origin, "rings": rings}, separators=(",", ":")))


if __name__ == "__main__":
    main()
