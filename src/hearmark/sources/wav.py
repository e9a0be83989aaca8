"""WAV files (RIFF and RF64): header, and samples read front to back in constant memory."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
import numpy.typing as npt

from hearmark.errors import HearmarkError
from hearmark.events import Block
from hearmark.sources.samples import BEYOND
from hearmark.sources.source import SourceEvent

READ_FRAMES = 65_536
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_UNKNOWN = 0xFFFFFFFF


@dataclass(frozen=True, slots=True)
class WavHeader:
    """What a WAV file says about itself. `frames`: samples per channel."""

    path: Path
    channels: int
    sample_rate_hz: float
    bits: int
    is_float: bool
    data_at: int
    frames: int

    @property
    def clips_at(self) -> float | None:
        """Component size from which a sample counts as clipped; None for floats."""
        half = 2.0 ** (self.bits - 1)
        return None if self.is_float else (half - 1.0) / half * (1 - 1e-6)


def read_header(path: Path, cut: bool = False) -> WavHeader:
    """Read and check the header. `cut`: accept a file that ends before its header says.

    Raises HearmarkError for anything but PCM of 8, 16, 24, 32 bits or float of 32, 64 bits.
    """
    try:
        with path.open("rb") as file:
            return _parse(file, path, path.stat().st_size, cut)
    except OSError as error:
        raise HearmarkError(f"Cannot read {path}: {error.strerror}; give a .wav or .sigmf-meta file.") from error


def _parse(file: BinaryIO, path: Path, size: int, cut: bool) -> WavHeader:
    """Walk the chunks up to the data."""
    start = file.read(12)
    if len(start) < 12 or start[:4] not in (b"RIFF", b"RF64") or start[8:] != b"WAVE":
        raise HearmarkError(f"{path} is not a WAV file; give a .wav or .sigmf-meta file.")
    layout: tuple[int, int, int, int, int] | None = None
    long_size: int | None = None
    while len(head := file.read(8)) == 8:
        name, length = head[:4], struct.unpack("<I", head[4:])[0]
        if name == b"data":
            if layout is None:
                raise HearmarkError(f"{path} has no fmt chunk before its samples; repair or record it again.")
            stated = long_size if length == _UNKNOWN and long_size is not None else length
            return _header(path, layout, file.tell(), stated, size, cut)
        body = file.read(min(length, 64))
        if name == b"ds64" and len(body) >= 16:
            long_size = struct.unpack("<Q", body[8:16])[0]
        if name == b"fmt " and len(body) >= 16:
            tag, channels, rate, _, align, bits = struct.unpack("<HHIIHH", body[:16])
            tag = struct.unpack("<H", body[24:26])[0] if tag == _EXTENSIBLE and len(body) >= 26 else tag
            layout = (tag, channels, rate, align, bits)
        file.seek(length - len(body) + length % 2, 1)
    raise HearmarkError(f"{path} was cut before its samples begin; copy or record it again.")


def _header(
    path: Path, layout: tuple[int, int, int, int, int], data_at: int, stated: int, size: int, cut: bool
) -> WavHeader:
    """Check the format and the length."""
    tag, channels, rate, align, bits = layout
    known = (tag == _PCM and bits in (8, 16, 24, 32)) or (tag == _FLOAT and bits in (32, 64))
    if not known or not channels or align != channels * bits // 8:
        raise HearmarkError(
            f"{path} has samples of {bits} bits in format {tag}; "
            "expected PCM of 8, 16, 24 or 32 bits or float of 32 or 64."
        )
    if not rate:
        raise HearmarkError(f"{path} gives a sample rate of 0; record it again.")
    there = size - data_at
    # A recorder that never came back to finish the header leaves 0 or all ones: then the data is the rest of the file.
    unfinished = stated == _UNKNOWN or (stated == 0 and there > 0)
    if stated > there and not unfinished and not cut:
        raise HearmarkError(
            f"{path} was cut: its header says {stated / align / rate:.1f} s, it holds {there / align / rate:.1f} s; "
            "copy it again, or say --cut to read it as far as it goes."
        )
    frames = (there if unfinished else min(stated, there)) // align
    if not frames:
        raise HearmarkError(f"{path} holds no samples; copy or record it again.")
    return WavHeader(path, channels, float(rate), bits, tag == _FLOAT, data_at, frames)


def read_frames(header: WavHeader) -> Iterator[npt.NDArray[np.float32]]:
    """Float32 of full scale 1, shape (frames, channels), up to 65536 frames at a time."""
    width = header.channels * header.bits // 8
    left = header.frames
    with header.path.open("rb") as file:
        file.seek(header.data_at)
        while left:
            data = file.read(min(left, READ_FRAMES) * width)
            if len(data) < width:
                raise HearmarkError(f"{header.path} became shorter while it was read; start again.")
            count = len(data) // width
            yield _scaled(data[: count * width], header).reshape(count, header.channels)
            left -= count


def _scaled(data: bytes, header: WavHeader) -> npt.NDArray[np.float32]:
    """Flat samples as float32; what is not a number or far beyond full scale becomes 0."""
    if header.is_float:
        with np.errstate(over="ignore", invalid="ignore"):
            values = np.frombuffer(data, f"<f{header.bits // 8}").astype(np.float32)
        return np.where(np.abs(values) < BEYOND, values, np.float32(0.0))
    if header.bits == 8:
        return (np.frombuffer(data, np.uint8).astype(np.float32) - np.float32(128.0)) / np.float32(128.0)
    if header.bits == 24:
        wide = np.zeros((len(data) // 3, 4), np.uint8)
        wide[:, 1:] = np.frombuffer(data, np.uint8).reshape(-1, 3)
        return (wide.view("<i4")[:, 0] / 2.0**31).astype(np.float32)
    return (np.frombuffer(data, f"<i{header.bits // 8}") / 2.0 ** (header.bits - 1)).astype(np.float32)


class IqWav:
    """A WAV of two channels: I left, Q right. Its centre is not in the file and must be told."""

    def __init__(self, path: Path, center_hz: float | None, cut: bool = False, swap: bool = False) -> None:
        """Open `path`; `swap` exchanges I and Q, for recorders that write them the other way."""
        self._header = read_header(path, cut)
        if self._header.channels != 2:
            raise HearmarkError(
                f"{path} has {self._header.channels} channel(s); expected two (I and Q), or one with --dial FILE."
            )
        if center_hz is None:
            raise HearmarkError(f"{path} does not say its centre frequency; add --center KHZ.")
        self._swap = swap
        self.sample_rate_hz = self._header.sample_rate_hz
        self.center_hz = center_hz
        self.duration_s: float | None = self._header.frames / self.sample_rate_hz

    @property
    def clips_at(self) -> float | None:
        """Component size at which samples clip; None if the format has no end."""
        return self._header.clips_at

    def events(self) -> Iterator[SourceEvent]:
        """Blocks of up to 65536 samples."""
        first = 0
        for frames in read_frames(self._header):
            pairs = np.ascontiguousarray(frames[:, ::-1] if self._swap else frames)
            samples = pairs.view(np.complex64)[:, 0]
            yield Block(first, self.sample_rate_hz, self.center_hz, samples)
            first += len(samples)
