"""Binary frames to the page, made from the one description that both ends read (`static/frames.json`)."""

from __future__ import annotations

import json
import struct
from importlib.resources import files
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from hearmark.events import Row

DESCRIPTION: Final[dict[str, Any]] = json.loads(
    files("hearmark.web").joinpath("static", "frames.json").read_text(encoding="utf-8")
)
MAGIC: Final[bytes] = DESCRIPTION["magic"].encode("ascii")
VERSION: Final[int] = DESCRIPTION["version"]
_LETTERS = {"float64": "d", "uint32": "I"}
_BODIES = {"uint8": "<u1", "int16": "<i2"}


def _header(kind: str) -> struct.Struct:
    fields = DESCRIPTION["kinds"][kind]["fields"]
    return struct.Struct("<4sBBxx" + "".join(_LETTERS[letter] for _, letter in fields))


_HEADERS = {kind: _header(kind) for kind in DESCRIPTION["kinds"]}


def pack(kind: str, values: dict[str, float], body: npt.NDArray[Any]) -> bytes:
    """One frame of `kind`: `values` by field name, `body` of the kind's element type in any shape."""
    described = DESCRIPTION["kinds"][kind]
    ordered = [values[name] for name, _ in described["fields"]]
    header = _HEADERS[kind].pack(MAGIC, VERSION, described["number"], *ordered)
    return header + np.ascontiguousarray(body, dtype=_BODIES[described["body"]]).tobytes()


def pack_row(row: Row) -> bytes:
    """A spectrogram line: power in quarters of a decibel, from -10 to +53.75 dB over the floor."""
    level = np.clip(np.round(np.nan_to_num(row.power_db, nan=-10.0) * 4 + 40), 0, 255).astype(np.uint8)
    return pack("row", {"time_s": row.time_s, "low_hz": row.low_hz, "step_hz": row.step_hz}, level)
