"""Make src/hearmark/data/series.csv, the ITU's call sign series, from the package callsign-regex (dev group)."""

from __future__ import annotations

import zipfile
from importlib.metadata import files, version
from pathlib import Path
from xml.etree import ElementTree

TARGET = Path(__file__).parents[1] / "src/hearmark/data/series.csv"
SHEET = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


def main() -> None:
    """Read the ITU's spreadsheet by the standard library: the package itself writes to the home folder."""
    (path,) = (file for file in files("callsign-regex") or () if file.suffix == ".xlsx")
    with zipfile.ZipFile(str(path.locate())) as book:
        texts = [
            "".join(part.text or "" for part in item.iter(f"{SHEET}t"))
            for item in ElementTree.fromstring(book.read("xl/sharedStrings.xml").decode("utf-8-sig"))
        ]
        sheet = ElementTree.fromstring(book.read("xl/worksheets/sheet1.xml").decode("utf-8-sig"))
    lines = [
        "# Call sign series of the ITU Radio Regulations, Appendix 42, as the ITU publishes the table;",
        f"# taken from the package callsign-regex {version('callsign-regex')} (PyPI) by tools/series.py",
        "first,last,holder",
    ]
    for row in list(sheet.iter(f"{SHEET}row"))[1:]:
        cells = [texts[int(cell.findtext(f"{SHEET}v") or 0)] for cell in row]
        first, _, last = cells[0].partition(" - ")
        lines.append(f'{first},{last},"{cells[1].split(" - ")[0].split(" (")[0]}"')
    TARGET.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{TARGET}: {len(lines) - 3} series")


if __name__ == "__main__":
    main()
