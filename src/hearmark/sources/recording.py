"""Opening a recording by its name, and writing one as SigMF."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Literal

import numpy as np

from hearmark.errors import HearmarkError
from hearmark.events import Answer, Block, ComplexArray
from hearmark.files import write_whole
from hearmark.sources.audio import AudioFile
from hearmark.sources.front_end import Corrected
from hearmark.sources.sigmf import SigmfFile
from hearmark.sources.wav import IqWav

SIGMF_VERSION = "1.2.0"


def open_recording(
    path: Path,
    center_hz: float | None = None,
    dial: Path | None = None,
    sideband: Literal["usb", "lsb"] = "usb",
    pitch_hz: float = 0.0,
    cut: bool = False,
) -> Corrected:
    """A SigMF recording, an I/Q WAV (needs `center_hz`), or mono audio with a `dial` log.

    `sideband`, `pitch_hz`: of the receiver whose audio it is. `cut`: read a damaged file as far as
    it goes. Raises HearmarkError if it cannot be read.
    """
    if path.suffix in (".sigmf-meta", ".sigmf-data"):
        if dial is not None:
            raise HearmarkError(f"{path} holds I/Q; a dial log goes with a mono WAV, so leave --dial out.")
        source: SigmfFile | IqWav | AudioFile = SigmfFile(path, center_hz, cut)
    elif dial is not None:
        source = AudioFile(path, dial, sideband, pitch_hz, cut)
    else:
        source = IqWav(path, center_hz, cut)
    return Corrected(source, source.clips_at)


class SigmfWriter:
    """Writes a recording block by block: `with SigmfWriter(path, rate) as writer: writer.write(block)`.

    Sixteen-bit samples, full scale 1; larger ones are clipped and counted. The metadata is written
    last, when the block ends well or by Ctrl+C, so that a broken recording does not look whole.
    """

    def __init__(self, path: Path, sample_rate_hz: float, description: str = "") -> None:
        """`path` with any suffix; `.sigmf-data` and `.sigmf-meta` are put in its place."""
        self._path = path
        self._rate_hz = sample_rate_hz
        self._captures: list[dict[str, Any]] = []
        self._annotations: list[dict[str, Any]] = []
        self._description = description
        self._written = 0
        self._next = 0
        self._center_hz = 0.0
        self.clipped_samples = 0

    def __enter__(self) -> SigmfWriter:
        data = self._path.with_suffix(".sigmf-data")
        try:
            self._file = data.open("wb")
        except OSError as error:
            raise HearmarkError(f"Cannot write {data}: {error.strerror}; name a folder that exists.") from error
        return self

    def write(self, block: Block) -> None:
        """Append a block; a jump in its sample count or centre begins a new capture."""
        if not self._captures or block.first_sample != self._next or block.center_hz != self._center_hz:
            self._captures.append(
                {
                    "core:sample_start": self._written,
                    "core:global_index": block.first_sample,
                    "core:frequency": block.center_hz,
                }
            )
        self._center_hz = block.center_hz
        self._file.write(self._coded(block.samples))
        self._written += len(block.samples)
        self._next = block.first_sample + len(block.samples)

    def annotate(self, answers: Iterable[Answer], width_hz: float) -> None:
        """Put marks on the record. `width_hz`: signed, from the carrier to the far edge of the signal."""
        for answer in answers:
            start = round(answer.start_s * self._rate_hz)
            stop = start if answer.stop_s is None else round(answer.stop_s * self._rate_hz)
            low_hz, high_hz = sorted((answer.frequency_hz, answer.frequency_hz + width_hz))
            self._annotations.append(
                {
                    "core:sample_start": max(start, 0),
                    "core:sample_count": max(stop - start, 1),
                    "core:freq_lower_edge": low_hz,
                    "core:freq_upper_edge": high_hz,
                    "core:label": answer.call or "answer",
                    "core:comment": f"{answer.by}, confidence {answer.confidence:.2f}",
                }
            )

    def remark(self, time_s: float, label: str, comment: str) -> None:
        """Put a line on the record at one moment."""
        self._annotations.append(
            {
                "core:sample_start": max(round(time_s * self._rate_hz), 0),
                "core:sample_count": 1,
                "core:label": label,
                "core:comment": comment,
            }
        )

    def _coded(self, samples: ComplexArray) -> bytes:
        """Interleaved little-endian sixteen-bit samples."""
        parts = np.ascontiguousarray(samples, np.complex64).view(np.float32) * np.float32(32768.0)
        limited = np.clip(np.rint(parts), -32768, 32767)
        self.clipped_samples += int(np.count_nonzero(np.abs(parts).reshape(-1, 2).max(axis=1) > 32768.0))
        return bytes(limited.astype("<i2").tobytes())

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self._file.close()
        if kind is not None and not issubclass(kind, KeyboardInterrupt):
            return
        content = {
            "global": {
                "core:datatype": "ci16_le",
                "core:version": SIGMF_VERSION,
                "core:sample_rate": self._rate_hz,
                "core:description": self._description,
                "core:recorder": "Hearmark",
            },
            "captures": self._captures,
            "annotations": sorted(self._annotations, key=lambda a: int(a["core:sample_start"])),
        }
        write_whole(self._path.with_suffix(".sigmf-meta"), json.dumps(content, indent=1) + "\n")
