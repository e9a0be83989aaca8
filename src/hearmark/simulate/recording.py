"""A simulated session as a SigMF recording that carries its truth.

The truth stands in annotations and global fields of our own namespace `hearmark`, declared as an optional extension as
the SigMF specification asks; `docs/hearmark.sigmf-ext.md` describes the fields.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Callable
from dataclasses import asdict, dataclass
from importlib import metadata
from pathlib import Path
from typing import Any, Literal

import numpy as np
from sigmf import SigMFFile, sigmffile

from hearmark.errors import HearmarkError
from hearmark.events import Block, ComplexArray
from hearmark.files import behind, write_whole
from hearmark.simulate.faults import Faults
from hearmark.simulate.render import Renderer
from hearmark.simulate.session import Contact, Scenario, Session, Station, Transmission

DataType = Literal["cf32_le", "ci16_le"]
EXTENSION = {"name": "hearmark", "version": "1.0.0", "optional": True}
_BLOCK_S = 0.5
_DESCRIPTION = "A simulated pile-up; calls and stations are invented."


@dataclass(frozen=True, slots=True)
class Truth:
    """What is known of a recording: `session` (times since its first sample), rate and centre."""

    session: Session
    sample_rate_hz: float
    center_hz: float

    @property
    def overs(self) -> tuple[Transmission, ...]:
        """What the DX sent."""
        return tuple(sent for sent in self.session.transmissions if sent.station == 0)

    @property
    def contacts(self) -> tuple[Contact, ...]:
        """Whom he answered, and the reports they sent."""
        return self.session.contacts


def write(
    session: Session,
    path: Path,
    rate_hz: float = 48_000,
    centre_hz: float | None = None,
    datatype: DataType = "cf32_le",
    faults: Faults | None = None,
    truth: bool = True,
    progress: Callable[[float], None] | None = None,
) -> Path:
    """Write `session` as `path`.sigmf-data and .sigmf-meta; returns the path of the metadata.

    Both files appear whole or not at all, the metadata last. Without `centre_hz`, the middle of what the session
    spans. Dropped blocks are left out; captures with their global index tell. `progress` is called with the share
    done, 0 to 1. Errors: HearmarkError for an unknown datatype, or a folder that cannot be written.
    """
    if datatype not in ("cf32_le", "ci16_le"):
        raise HearmarkError(f"Sample format {datatype!r} is not written; choose cf32_le or ci16_le.")
    scenario = session.scenario
    if centre_hz is None:
        edges = (scenario.dx_hz, scenario.window_low_hz, scenario.window_high_hz)
        centre_hz = round((min(edges) + max(edges)) / 2)
    meta_path, data_path = path.with_suffix(".sigmf-meta"), path.with_suffix(".sigmf-data")
    data_target, meta_target = behind(data_path), behind(meta_path)
    renderer = Renderer(session, rate_hz, centre_hz, faults)
    captures: list[tuple[int, int]] = []
    digest = hashlib.sha512()
    try:
        handle, name = tempfile.mkstemp(prefix=f".{data_target.name}.", dir=data_target.parent)
    except OSError as error:
        raise HearmarkError(f"Cannot write {data_path}: {error.strerror}; give a folder that exists.") from error
    try:
        with os.fdopen(handle, "wb") as file:
            written, expected = 0, -1
            for event in renderer.events(_BLOCK_S if not renderer.faults.dropped_per_min else 0.02):
                if isinstance(event, Block):
                    if event.first_sample != expected:
                        captures.append((written, event.first_sample))
                    data = encoded(event.samples, datatype)
                    digest.update(data)
                    file.write(data)
                    written += len(event.samples)
                    expected = event.first_sample + len(event.samples)
                if progress is not None:
                    progress(min(1.0, event.stop_s / scenario.duration_s))
        os.chmod(name, 0o644)
        meta = _metadata(session, rate_hz, centre_hz, datatype, captures, written, digest.hexdigest(), truth)
        meta_target.unlink(missing_ok=True)
        os.replace(name, data_target)
    except OSError as error:
        raise HearmarkError(f"Cannot write {data_path}: {error.strerror}; choose another place.") from error
    finally:
        Path(name).unlink(missing_ok=True)
    write_whole(meta_path, meta)
    return meta_path


def encoded(samples: ComplexArray, datatype: DataType) -> bytes:
    """Samples as they stand in the file; 16-bit ones are clipped at full scale 1."""
    if datatype == "cf32_le":
        return bytes(samples.astype("<c8").tobytes())
    flat = np.ascontiguousarray(samples).view(np.float32)
    return bytes(np.clip(np.rint(flat * 32767.0), -32768, 32767).astype("<i2").tobytes())


def refuse_over_heard(path: Path) -> None:
    """Raises if a recording of this name is there that the simulator did not write: it could not be made again."""
    meta_path, data_path = path.with_suffix(".sigmf-meta"), path.with_suffix(".sigmf-data")
    if not meta_path.exists() and not data_path.exists():
        return
    try:
        described = json.loads(meta_path.read_bytes())["global"]["core:description"]
    except (OSError, ValueError, KeyError, TypeError):
        described = ""
    if described != _DESCRIPTION:
        there = data_path if data_path.exists() else meta_path
        raise HearmarkError(f"{there} is there already and is not simulated, and would be lost; give another name.")


def read_truth(path: Path) -> Truth:
    """The truth of a recording made by `write`; HearmarkError if it carries none."""
    meta_path = path.with_suffix(".sigmf-meta")
    try:
        recording = sigmffile.fromfile(str(meta_path), skip_checksum=True)
    except Exception as error:
        raise HearmarkError(f"Cannot read {meta_path} as SigMF: {error}; give a .sigmf-meta file.") from error
    info: dict[str, Any] = recording.get_global_info()
    if "hearmark:scenario" not in info:
        raise HearmarkError(f"{meta_path} carries no truth; give a recording that the simulator wrote with its truth.")
    notes: list[dict[str, Any]] = recording.get_annotations()
    sent = tuple(_transmission(note) for note in notes if "hearmark:role" in note)
    contacts = tuple(_contact(note["hearmark:contact"]) for note in notes if "hearmark:contact" in note)
    session = Session(
        Scenario(**info["hearmark:scenario"]),
        tuple(Station(**station) for station in info["hearmark:stations"]),
        tuple(sorted(sent, key=lambda one: one.start_s)),
        tuple(sorted(contacts, key=lambda one: one.answered_at_s)),
        tuple((time_s, frequency_hz) for time_s, frequency_hz in info.get("hearmark:listening", [])),
    )
    return Truth(session, float(info["core:sample_rate"]), float(recording.get_captures()[0]["core:frequency"]))


def _metadata(
    session: Session, rate_hz: float, centre_hz: float, datatype: str, captures: list[tuple[int, int]], written: int,
    sha512: str, truth: bool,
) -> str:  # fmt: skip
    info: dict[str, Any] = {
        "core:datatype": datatype,
        "core:sample_rate": rate_hz,
        "core:description": _DESCRIPTION,
        "core:recorder": f"hearmark {metadata.version('hearmark')}",
        "core:sha512": sha512,
    }
    if session.scenario.mode != "cw" and any(one.voice.startswith("h-") for one in session.stations):
        info["core:license"] = "https://spdx.org/licenses/CC-BY-SA-3.0.html"  # that of the recorded voices
    if truth:
        info["core:extensions"] = [EXTENSION]
        info["hearmark:scenario"] = asdict(session.scenario)
        info["hearmark:stations"] = [asdict(station) for station in session.stations]
        info["hearmark:listening"] = [list(spot) for spot in session.listening_hz]
    recording = SigMFFile(global_info=info)
    for in_file, in_stream in captures or [(0, 0)]:
        recording.add_capture(in_file, {"core:frequency": centre_hz, "core:global_index": in_stream})
    if truth:
        starts = np.array([in_stream for _, in_stream in captures] or [0])
        shifts = np.array([in_stream - in_file for in_file, in_stream in captures] or [0])

        def place(time_s: float) -> int:
            """Sample of the file at a time of the stream."""
            at = round(time_s * rate_hz)
            shift = shifts[max(0, int(np.searchsorted(starts, at, "right")) - 1)]
            return int(min(max(0, at - shift), written))

        spans = [(sent.start_s, sent.stop_s, _sent(sent, session)) for sent in session.transmissions]
        spans += [
            (one.answered_at_s, max([one.answered_at_s, *(stop for _, stop in one.reports)]), _worked(one))
            for one in session.contacts
        ]
        for start_s, stop_s, note in sorted(spans, key=lambda span: span[0]):
            first = place(start_s)
            if first < written:
                recording.add_annotation(first, max(1, place(stop_s) - first), note)
    recording.validate()
    return str(recording.dumps())


def _sent(sent: Transmission, session: Session) -> dict[str, Any]:
    station = session.stations[sent.station]
    low_hz, high_hz = {"cw": (-100.0, 100.0), "usb": (300.0, 2700.0), "lsb": (-2700.0, -300.0)}[session.scenario.mode]
    note: dict[str, Any] = {
        "core:freq_lower_edge": sent.frequency_hz + low_hz,
        "core:freq_upper_edge": sent.frequency_hz + high_hz,
        "core:label": station.call[:20],
        "core:comment": sent.text,
        "hearmark:role": sent.role,
        "hearmark:station": sent.station,
        "hearmark:call": station.call,
        "hearmark:text": sent.text,
        "hearmark:frequency_hz": sent.frequency_hz,
        "hearmark:start_s": sent.start_s,
        "hearmark:stop_s": sent.stop_s,
    }
    if sent.keying_s is not None:
        note["hearmark:keying_s"] = np.round(sent.keying_s, 5).tolist()
    return note


def _worked(one: Contact) -> dict[str, Any]:
    return {"core:label": f"{one.call[:13]} worked" if one.completed else f"{one.call[:13]} called",
            "hearmark:contact": asdict(one)}  # fmt: skip


def _transmission(note: dict[str, Any]) -> Transmission:
    keying = note.get("hearmark:keying_s")
    return Transmission(
        note["hearmark:station"],
        note["hearmark:start_s"],
        note["hearmark:stop_s"],
        note["hearmark:frequency_hz"],
        note["hearmark:text"],
        note["hearmark:role"],
        None if keying is None else np.asarray(keying, dtype=np.float64).reshape(-1, 2),
    )


def _contact(fields: dict[str, Any]) -> Contact:
    return Contact(**(fields | {"reports": tuple((start, stop) for start, stop in fields["reports"])}))
