"""What every source of samples looks like to the rest."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from hearmark.events import Block, Dial, Gap, Levels

SourceEvent = Block | Gap | Dial | Levels


class Source(Protocol):
    """Anything that gives samples.

    `sample_rate_hz` is fixed for the whole stream. `center_hz` is where the first sample's 0 Hz
    lies; each Block carries its own. `duration_s` is None while nobody knows (live). Blocks come
    in sample order without overlap; what is missing between them is announced by a Gap.
    """

    @property
    def sample_rate_hz(self) -> float:
        """Samples a second."""

    @property
    def center_hz(self) -> float:
        """Absolute frequency of 0 Hz at the start."""

    @property
    def duration_s(self) -> float | None:
        """Length of the stream, if known."""

    def events(self) -> Iterator[SourceEvent]:
        """Blocks, gaps, dial moves and levels, in sample order; raises HearmarkError if the input breaks."""
