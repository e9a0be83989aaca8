"""Both ends of the binary frames are held to the one description: packed here, read by the page's own code."""

import struct
from collections.abc import Callable
from typing import Any, get_args

import numpy as np
import pytest

from hearmark import events
from hearmark.events import Row
from hearmark.web.frames import DESCRIPTION, pack, pack_row
from hearmark.web.server import Server

READ = """async (bytes) => {
  const { loadDescription, readFrame } = await import("/static/frames.js");
  try {
    const frame = readFrame(await loadDescription(), new Uint8Array(bytes).buffer);
    return { ...frame, body: Array.from(frame.body) };
  } catch (error) { return error.message; }
}"""


def test_described_event_names_are_events() -> None:
    known = {kind.__name__ for kind in get_args(events.Event)}
    assert set(DESCRIPTION["events"]["names"]) <= known


def test_header_is_as_described() -> None:
    frame = pack("sound", {"first_sample": 240, "rate_hz": 12_000, "time_s": 1.5}, np.array([[1, -2]], np.int16))
    assert frame == b"HMRK\x01\x02\x00\x00" + struct.pack("<dddhh", 240.0, 12_000.0, 1.5, 1, -2)


def test_row_levels_are_quarter_decibels_held_to_their_range() -> None:
    row = Row(2.0, 18_148_500.0, 25.0, np.array([-40.0, -10.0, 0.0, 3.25, 60.0, np.nan], np.float32))
    assert list(pack_row(row)[-6:]) == [0, 0, 40, 53, 255, 0]


def test_page_reads_every_kind_of_frame_as_packed(serve: Callable[..., Server], new_page: Callable[..., Any]) -> None:
    page = new_page(serve().url)
    rng = np.random.default_rng(2)
    for kind, described in DESCRIPTION["kinds"].items():
        values = {name: float(rng.uniform(-1e7, 1e7)) for name, _ in described["fields"]}
        bounds = (0, 256) if described["body"] == "uint8" else (-32_768, 32_768)
        body = rng.integers(*bounds, 20)
        frame = pack(kind, values, body)
        assert page.evaluate(READ, list(frame)) == {"kind": kind, "values": values, "body": body.tolist()}
    assert "not a frame" in page.evaluate(READ, list(b"XXXX" + frame[4:]))
    assert "not a frame" in page.evaluate(READ, [])
    assert "version 9" in page.evaluate(READ, list(frame[:4] + b"\x09" + frame[5:]))
    assert "kind 200" in page.evaluate(READ, list(frame[:5] + bytes([200]) + frame[6:]))


@pytest.mark.parametrize("kind", sorted(DESCRIPTION["kinds"]))
def test_kinds_have_numbers_of_their_own(kind: str) -> None:
    numbers = [k["number"] for k in DESCRIPTION["kinds"].values()]
    assert numbers.count(DESCRIPTION["kinds"][kind]["number"]) == 1
