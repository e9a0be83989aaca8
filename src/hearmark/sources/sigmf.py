"""SigMF recordings (the open Signal Metadata Format, version 1): `.sigmf-meta` beside `.sigmf-data`."""

from __future__ import annotations

import hashlib
import json
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from hearmark.errors import HearmarkError
from hearmark.events import Block, Gap
from hearmark.sources.samples import SampleFormat, sample_format
from hearmark.sources.source import SourceEvent

READ_SAMPLES = 65_536
LARGEST_CHECKED = 2**30
"""Bytes: larger files are not read twice for the sake of their checksum."""
SAME_CENTER_HZ = 1.5
"""A centre that was told and one in the file agree if they are so near."""
LEAST_GAP_S = 0.02
"""Smaller jumps between the captures' times are taken as rounding of the clock that wrote them."""


@dataclass(frozen=True, slots=True)
class _Capture:
    """A run of samples in the file, and where it belongs on the stream's sample clock."""

    in_file: int
    in_stream: int
    count: int
    center_hz: float


class SigmfFile:
    """A SigMF recording, read front to back in constant memory.

    Several captures may have several centres. Where `core:global_index`, or else `core:datetime`,
    shows that samples are missing between two captures, the time in between is a Gap.
    """

    def __init__(self, path: Path, center_hz: float | None = None, cut: bool = False) -> None:
        """Open `path` (either file of the pair). `center_hz`: the centre, where a capture does not say its own.

        `cut`: read a file that ends in the middle of a sample as far as it goes. Raises HearmarkError
        if the pair is not readable, not valid, or holds other than one channel of complex samples.
        """
        meta_path, self._data_path = path.with_suffix(".sigmf-meta"), path.with_suffix(".sigmf-data")
        meta = _read_meta(meta_path)
        self._format: SampleFormat = sample_format(str(meta["global"]["core:datatype"]))
        self.sample_rate_hz = float(meta["global"].get("core:sample_rate") or 0.0)
        if not 1.0 <= self.sample_rate_hz <= 1e9:
            raise HearmarkError(f"{meta_path} gives no usable core:sample_rate; add it in samples a second.")
        if int(meta["global"].get("core:num_channels", 1)) != 1:
            raise HearmarkError(f"{meta_path} holds several channels; expected one channel of complex samples.")
        size = _size(self._data_path)
        width = self._format.bytes_per_sample
        if size % width and not cut:
            raise HearmarkError(
                f"{self._data_path} was cut: {size} bytes are not whole {self._format.name} samples of {width} bytes; "
                "copy it again, or say --cut to read it as far as it goes."
            )
        if size < width:
            raise HearmarkError(f"{self._data_path} holds no samples; copy it again.")
        if not cut:
            _check_whole(meta, self._data_path, size, width)
        self._captures = _captures(meta, meta_path, size // width, self.sample_rate_hz, center_hz)
        self.center_hz = self._captures[0].center_hz
        last = self._captures[-1]
        self.duration_s: float | None = (last.in_stream + last.count) / self.sample_rate_hz

    @property
    def clips_at(self) -> float | None:
        """Component size at which samples clip; None if the format has no end."""
        return self._format.clips_at

    def events(self) -> Iterator[SourceEvent]:
        """Blocks of up to 65536 samples, and gaps where the metadata shows them."""
        reached = 0
        with self._data_path.open("rb") as file:
            for capture in self._captures:
                if capture.in_stream > reached:
                    rate = self.sample_rate_hz
                    yield Gap(reached / rate, capture.in_stream / rate, "the recording paused")
                file.seek(capture.in_file * self._format.bytes_per_sample)
                done = 0
                while done < capture.count:
                    count = min(READ_SAMPLES, capture.count - done)
                    samples = self._format.decode(file.read(count * self._format.bytes_per_sample))
                    if len(samples) < count:
                        raise HearmarkError(f"{self._data_path} became shorter while it was read; start again.")
                    yield Block(capture.in_stream + done, self.sample_rate_hz, capture.center_hz, samples)
                    done += count
                reached = capture.in_stream + capture.count


def _read_meta(path: Path) -> dict[str, Any]:
    """The metadata, checked against the SigMF schema by the sigmf package."""
    from sigmf.validate import validate

    try:
        meta = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise HearmarkError(f"Cannot read {path}: {error.strerror}; give the .sigmf-meta of a recording.") from error
    except (ValueError, RecursionError) as error:
        raise HearmarkError(f"{path} is not SigMF metadata: it is no whole JSON text; copy it again.") from error
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # extensions that others use are none of our business
            validate(meta)
    except Exception as error:  # the schema library's errors share no base that the package exposes
        reason = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        raise HearmarkError(f"{path} is not valid SigMF metadata ({reason}); repair it.") from error
    checked: dict[str, Any] = meta
    return checked


def _size(path: Path) -> int:
    """Bytes in the data file."""
    try:
        return path.stat().st_size
    except OSError as error:
        raise HearmarkError(f"Cannot read {path}: {error.strerror}; it must lie beside its .sigmf-meta.") from error


def _check_whole(meta: dict[str, Any], path: Path, size: int, width: int) -> None:
    """Notice a cut at a sample's edge: by annotations past the end, and by the checksum where that is quick."""
    notes = meta["annotations"]
    last = max((int(note["core:sample_start"]) + int(note.get("core:sample_count", 0)) for note in notes), default=0)
    stated = meta["global"].get("core:sha512")
    whole = last <= size // width
    if whole and stated and size <= LARGEST_CHECKED:
        with path.open("rb") as file:
            whole = hashlib.file_digest(file, "sha512").hexdigest() == str(stated).lower()
    if not whole:
        raise HearmarkError(
            f"{path} was cut or changed since it was recorded: it does not fit its .sigmf-meta; "
            "copy it again, or say --cut to read it as it is."
        )


def _captures(
    meta: dict[str, Any], path: Path, samples: int, rate_hz: float, center_hz: float | None
) -> tuple[_Capture, ...]:
    """The captures in order, placed on the stream's clock."""
    listed = sorted(meta.get("captures") or [{}], key=lambda capture: int(capture.get("core:sample_start", 0)))
    starts = [int(capture.get("core:sample_start", 0)) for capture in listed]
    if starts[0] < 0 or starts[-1] >= samples:
        raise HearmarkError(
            f"{path} has a capture at sample {starts[-1]}, its data ends at {samples}: the data was cut or belongs to "
            "another recording; copy the pair again."
        )
    if any(capture.get("core:header_bytes") for capture in listed):
        raise HearmarkError(f"{path} has headers between its samples (core:header_bytes); expected bare samples.")
    found: list[_Capture] = []
    shift = -starts[0]
    for number, (capture, start) in enumerate(zip(listed, starts, strict=True)):
        if number:
            shift += _missing(listed[number - 1], capture, start - starts[number - 1], rate_hz, path)
        at_hz = capture.get("core:frequency", center_hz)
        if at_hz is None:
            raise HearmarkError(f"{path} does not say its centre frequency; add --center KHZ.")
        if center_hz is not None and abs(float(at_hz) - center_hz) > SAME_CENTER_HZ:
            raise HearmarkError(
                f"{path} says that its centre is {float(at_hz) / 1000:.12g} kHz, and --center that it is "
                f"{center_hz / 1000:.12g} kHz; leave --center out."
            )
        stop = starts[number + 1] if number + 1 < len(starts) else samples
        if stop > start:
            found.append(_Capture(start, start + shift, stop - start, float(at_hz)))
    return tuple(found)


def _missing(before: dict[str, Any], after: dict[str, Any], between: int, rate_hz: float, path: Path) -> int:
    """Samples that the metadata shows were lost between two captures that lie `between` samples apart in the file."""
    first, second = before.get("core:global_index"), after.get("core:global_index")
    if first is not None and second is not None:
        missing = int(second) - int(first) - between
    else:
        first_at, second_at = _time(before, path), _time(after, path)
        if first_at is None or second_at is None:
            return 0
        elapsed = (second_at - first_at).total_seconds() - between / rate_hz
        missing = round(elapsed * rate_hz) if abs(elapsed) >= LEAST_GAP_S else 0
    if missing < 0:
        raise HearmarkError(f"{path} has captures that overlap in time by {-missing} samples; repair their times.")
    return missing


def _time(capture: dict[str, Any], path: Path) -> datetime | None:
    """A capture's start, if given."""
    text = capture.get("core:datetime")
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise HearmarkError(f'{path} has the time "{text}"; expected one like 2026-03-21T12:00:00Z.') from error
    return moment if moment.tzinfo else datetime.fromisoformat(text + "+00:00")
