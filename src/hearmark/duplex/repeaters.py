"""Repeaters: a pair of frequencies, the tone that opens them, and a list of them from a plain CSV file.

For us it is half duplex, transmitting on the input and hearing the output; the repeater itself is full duplex.
Listening on the input shows whether the other station is in direct reach: that is a peek.
"""

from __future__ import annotations

import csv
import io
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from hearmark.duplex.bands import band_of
from hearmark.errors import HearmarkError
from hearmark.events import Plan, PlanMode

TONES_HZ = (
    67.0, 69.3, 71.9, 74.4, 77.0, 79.7, 82.5, 85.4, 88.5, 91.5, 94.8, 97.4, 100.0, 103.5, 107.2, 110.9, 114.8, 118.8,
    123.0, 127.3, 131.8, 136.5, 141.3, 146.2, 150.0, 151.4, 156.7, 159.8, 162.2, 165.5, 167.9, 171.3, 173.8, 177.3,
    179.9, 183.5, 186.2, 189.9, 192.8, 196.6, 199.5, 203.5, 206.5, 210.7, 218.1, 225.7, 229.1, 233.6, 241.8, 250.3,
    254.1,
)  # fmt: skip
"""Tones in use, those of EIA/TIA-603 and the usual additions (from memory)."""
BURST_HZ = 1750.0
_COLUMNS = {"name", "output_mhz", "input_mhz", "shift_mhz", "tone", "mode", "locator", "note"}


@dataclass(frozen=True, slots=True)
class Repeater:
    """One repeater; frequencies in hertz. `tone`: "88.5", "1750" (a burst), "D023" (a code) or empty. `locator`: its
    place, as a locator or LAT,LON. `guessed`: the input follows the usual shift, the list does not say."""

    name: str
    output_hz: float
    input_hz: float
    tone: str = ""
    mode: PlanMode = "fm"
    locator: str = ""
    note: str = ""
    guessed: bool = False

    @property
    def shift_hz(self) -> float:
        """From output to input."""
        return self.input_hz - self.output_hz

    def plan(self) -> Plan:
        """As a plan, half duplex for us."""
        return Plan(
            self.output_hz, self.input_hz, self.input_hz, self.mode, "half", "repeater", tone=self.tone
        )  # fmt: skip


@cache
def shifts() -> dict[str, Any]:
    """The table of usual shifts with its origin."""
    return tomllib.loads(files("hearmark").joinpath("data/repeaters/shifts.toml").read_text(encoding="utf-8"))


def usual_shift_hz(output_hz: float, region: int) -> float | None:
    """The usual shift for an output in an ITU region; None where there is none. Raises HearmarkError for no region."""
    if region not in (1, 2, 3):
        raise HearmarkError(f"There is no ITU region {region}; give 1, 2 or 3.")
    for row in shifts()["shift"]:
        if row["region"] == region and row["low_khz"] * 1e3 <= output_hz < row["high_khz"] * 1e3:
            return float(row["shift_khz"]) * 1e3
    return None


def tone_of(text: str) -> str:
    """A tone or code in one form: "88.5", "1750", "D023". Raises HearmarkError for what is neither."""
    said = text.strip().upper().removesuffix("HZ").strip()
    if not said:
        return ""
    if said.startswith("D") and len(said.rstrip("NI")) == 4 and all(c in "01234567" for c in said[1:4]):
        return said[:4]
    try:
        value = float(said.replace(",", "."))
    except ValueError:
        value = 0.0
    if value == BURST_HZ:
        return "1750"
    if value not in TONES_HZ:
        raise HearmarkError(f'"{text}" is no tone; give one in hertz like 88.5, 1750 for a burst, or a code like D023.')
    return f"{value:.1f}"


def read_repeaters(path: Path, region: int = 1) -> list[Repeater]:
    """A CSV file: name, output_mhz, and as far as known input_mhz or shift_mhz, tone, mode, locator, note.

    Without input and shift the usual shift of the region counts, and it is said so. Raises HearmarkError with the line.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise HearmarkError(f"Cannot read the repeaters {path}: {error.strerror}; give a CSV file.") from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")  # how spreadsheets write names with accents
    if "\0" in text:
        raise HearmarkError(f"The repeaters {path} are not text; give a CSV file.")
    first = text.split("\n", 1)[0]
    reader = csv.DictReader(io.StringIO(text), delimiter=";" if first.count(";") > first.count(",") else ",")
    names = {str(name).strip().lower() for name in reader.fieldnames or ()}
    if not {"name", "output_mhz"} <= names:
        raise HearmarkError(
            f"{path} needs a first line with the columns name and output_mhz; known are {', '.join(sorted(_COLUMNS))}."
        )
    found: list[Repeater] = []
    try:
        for row in reader:
            fields = {str(key).strip().lower(): str(value or "").strip() for key, value in row.items() if key}
            if any(fields.values()):
                found.append(_repeater(fields, region, f"{path}, line {reader.line_num}"))
    except csv.Error as error:
        raise HearmarkError(f"{path}, line {reader.line_num}: this is no CSV ({error}).") from error
    return found


def _repeater(fields: dict[str, str], region: int, where: str) -> Repeater:
    output_hz = _hz(fields, "output_mhz", where)
    if output_hz is None or output_hz <= 0.0 or band_of(output_hz) is None:
        raise HearmarkError(f"{where}: output_mhz {fields['output_mhz']!r} lies in no amateur band.")
    input_hz, shift_hz = _hz(fields, "input_mhz", where), _hz(fields, "shift_mhz", where)
    guessed = input_hz is None and shift_hz is None
    if guessed:
        shift_hz = usual_shift_hz(output_hz, region)
        if shift_hz is None:
            raise HearmarkError(f"{where}: neither input_mhz nor shift_mhz, and no usual shift for that output.")
    if input_hz is None:
        input_hz = round(output_hz + (shift_hz or 0.0), 3)
    if input_hz <= 0.0 or band_of(input_hz) is None:
        raise HearmarkError(f"{where}: its input on {input_hz / 1e6:g} MHz lies in no amateur band.")
    mode = (fields.get("mode") or "fm").lower()
    if mode not in ("fm", "am", "usb", "lsb", "cw"):
        raise HearmarkError(f"{where}: mode {fields['mode']!r} is not known; give fm, am, usb, lsb or cw.")
    try:
        tone = tone_of(fields.get("tone", ""))
    except HearmarkError as error:
        raise HearmarkError(f"{where}: {error}") from None
    kept: Any = mode
    return Repeater(
        fields["name"], output_hz, input_hz, tone, kept, fields.get("locator", ""), fields.get("note", ""), guessed
    )


def _hz(fields: dict[str, str], name: str, where: str) -> float | None:
    text = fields.get(name, "")
    if not text:
        return None
    try:
        mhz = float(text.replace(",", "."))
    except ValueError:
        mhz = float("nan")
    if not abs(mhz) < 300_000.0:
        raise HearmarkError(f"{where}: {name} {text!r} is no frequency in MHz.")
    return round(mhz * 1e6, 3)
