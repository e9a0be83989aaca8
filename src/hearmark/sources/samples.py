"""Sample formats: bytes of interleaved I and Q to complex64 of full scale 1."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from hearmark.errors import HearmarkError
from hearmark.events import ComplexArray

BEYOND = 1e6
"""Samples of this amplitude and more, full scale being 1, are none."""
_NAME = re.compile(r"c(?P<kind>[fiu])(?P<bits>8|16|32|64)(?:_(?P<order>le|be))?")


@dataclass(frozen=True, slots=True)
class SampleFormat:
    """One component type, named as in SigMF's core:datatype (cf32_le, ci16_be, cu8 ...).

    Integers are scaled by half their range, so that full scale is 1; unsigned ones are first
    centred on the middle between their two middle codes.
    """

    name: str
    dtype: np.dtype[np.generic]

    @property
    def bytes_per_sample(self) -> int:
        """Bytes of one I and one Q."""
        return 2 * self.dtype.itemsize

    @property
    def clips_at(self) -> float | None:
        """Component size from which a sample counts as clipped; None for floats, which have no end."""
        if self.dtype.kind == "f":
            return None
        half = 2.0 ** (8 * self.dtype.itemsize - 1)
        return (half - 1.0) / half * (1 - 1e-6) if self.dtype.kind == "i" else (half - 0.5) / half * (1 - 1e-6)

    def decode(self, data: bytes) -> ComplexArray:
        """Whole samples of `data`, complex64, shape (n,); NaN and infinity become 0."""
        count = len(data) // self.bytes_per_sample
        raw = np.frombuffer(data, self.dtype, 2 * count)
        if self.dtype.kind == "f":
            with np.errstate(over="ignore", invalid="ignore"):
                parts = raw.astype(np.float32)
            parts[~np.isfinite(parts)] = 0.0
        else:
            half = 2.0 ** (8 * self.dtype.itemsize - 1)
            middle = half - 0.5 if self.dtype.kind == "u" else 0.0
            parts = ((raw.astype(np.float64) - middle) / half).astype(np.float32)
        return parts.view(np.complex64)


def silenced(samples: ComplexArray) -> ComplexArray:
    """The same with zeros for what is no sample: not a number, or far beyond full scale."""
    with np.errstate(over="ignore", invalid="ignore"):
        good = np.abs(samples) < BEYOND
    return samples if good.all() else np.where(good, samples, np.complex64(0))


def sample_format(name: str) -> SampleFormat:
    """The format of this name; one-byte formats have no byte order, others default to little-endian.

    Raises HearmarkError for real samples and unknown names.
    """
    found = _NAME.fullmatch(name.strip().lower())
    widths = ("32", "64") if found and found["kind"] == "f" else ("8", "16", "32")
    if not found or found["bits"] not in widths:
        raise HearmarkError(
            f'Sample format "{name}" is not known; expected complex samples: cf32_le, ci16_le, ci16_be, ci8, cu8 ...'
        )
    order = ">" if found["order"] == "be" else "<"
    return SampleFormat(name, np.dtype(f"{order}{found['kind']}{int(found['bits']) // 8}"))
