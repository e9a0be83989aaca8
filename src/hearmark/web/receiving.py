"""Does the receiver hear: a few seconds of it through the front end, told as measured figures."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from hearmark.errors import HearmarkError
from hearmark.events import Block, Gap, Levels
from hearmark.settings import Receiver
from hearmark.sources.front_end import Corrected
from hearmark.sources.live import LiveIq, sound_card, tcp
from hearmark.sources.recording import open_recording
from hearmark.sources.source import Source
from hearmark.units import percent

LISTEN_S = 4.0
SETTLE_S = 0.5
"""The begin of a stream is left out: receivers settle."""
PATIENCE_S = 12.0
SILENT_DBFS = -150.0
RATE_OFF = 0.02
"""More than this away from the rate that was given, and it is another rate, not a clock."""
ALIKE = 0.8
ENDINGS = (".sigmf-meta", ".wav")


@dataclass(frozen=True, slots=True)
class Heard:
    """What was measured. Levels in dB of full scale; `image_db` None: no image found; `rate_hz` None: a recording."""

    level_dbfs: float
    peak_dbfs: float
    clipped_share: float
    image_db: float | None
    rate_hz: float | None
    dropped_s: float
    listened_s: float
    alike: float = 0.0
    """|E[y y]| / E[|y|²]: near 0 for I/Q, near 1 when one channel says what the other says, or nothing."""


def listen_to(
    source: Source, live: bool, seconds: float = LISTEN_S, clock: Callable[[], float] = time.monotonic
) -> Heard:
    """Hears `seconds` of a source. Raises HearmarkError when nothing, or too little, comes."""
    power, count, dropped_s, squares = 0.0, 0, 0.0, 0j
    levels: list[Levels] = []
    begun_s, first_s, first_stop_s, last_s = clock(), None, 0.0, 0.0
    for event in source.events():
        now_s = clock()
        if isinstance(event, Block):
            if first_s is None:
                first_s, first_stop_s = now_s, event.stop_s
            last_s = event.stop_s
            if event.start_s >= SETTLE_S or not live:
                samples = event.samples.astype(np.complex128)
                power += float(np.sum(np.abs(samples) ** 2))
                squares += complex(np.sum(samples**2))
                count += len(event.samples)
            if event.stop_s >= seconds:
                break
        elif isinstance(event, Levels):
            levels.append(event)
        elif isinstance(event, Gap):
            dropped_s += event.stop_s - event.start_s
        if live and now_s - begun_s > PATIENCE_S:
            break
    if not count:
        raise HearmarkError("nothing is heard: the receiver sends no samples, or too few to measure")
    took_s = clock() - first_s if first_s is not None else 0.0
    rate_hz = None if not live or took_s < 1.0 else (last_s - first_stop_s) * source.sample_rate_hz / took_s
    known = [level for level in levels if level.image_rejection_db is not None]
    return Heard(
        10.0 * math.log10(max(power / count, 1e-30)),
        max((level.peak_dbfs for level in levels), default=-math.inf),
        max((level.clipped_share for level in levels), default=0.0),
        known[-1].image_rejection_db if known else None,
        rate_hz, dropped_s, last_s, abs(squares) / power if power else 0.0,
    )  # fmt: skip


def in_words(heard: Heard, rate_hz: float) -> tuple[bool, str]:
    """Whether it will do, and one sentence with what was measured."""
    if heard.level_dbfs < SILENT_DBFS:
        return False, "silence: every sample is zero; check which input is chosen, and the cable"
    if heard.alike > ALIKE:
        return False, (
            f"hearing {heard.level_dbfs:.0f} dBFS, but no I/Q: one channel says what the other says, or nothing; "
            "a receiver's audio is not enough here"
        )
    image = "no image found" if heard.image_db is None else f"image rejected {heard.image_db:.0f} dB as it comes"
    said = f"hearing {heard.level_dbfs:.0f} dBFS, {image}"
    if heard.rate_hz is not None and abs(heard.rate_hz / rate_hz - 1.0) > RATE_OFF:
        return False, (
            f"{said}, but {heard.rate_hz:.0f} samples come a second, not {rate_hz:.0f}: "
            "set the rate that the receiver sends"
        )
    if heard.clipped_share > 1e-4:
        return False, f"{said}, but {percent(heard.clipped_share, 2)} of the samples clip: turn its gain down"
    if heard.dropped_s > 0.0:
        return False, f"{said}, but {heard.dropped_s:.2f} of {heard.listened_s:.0f} s were dropped on the way"
    peak = f", peaks {heard.peak_dbfs:.0f} dBFS" if math.isfinite(heard.peak_dbfs) else ""
    rate = "" if heard.rate_hz is None else f", {heard.rate_hz / 1e3:.1f} thousand samples a second"
    return True, f"{said}{peak}{rate}"


def check_receiver(receiver: Receiver, folder: Path) -> tuple[bool, str]:
    """Listens to what the settings name and tells what was heard. Raises HearmarkError when it cannot be opened."""
    if receiver.kind == "demo":
        return True, "an invented pile-up: nothing to connect"
    if receiver.kind == "stdin":
        raise HearmarkError("Samples over standard input can be heard only by `hearmark listen --stdin`.")
    if receiver.kind == "recording":
        path = recording_in(folder, receiver.file)
        recorded = open_recording(path, receiver.center_khz * 1000.0 or None if path.suffix == ".wav" else None)
        ok, say = in_words(listen_to(recorded, live=False), recorded.sample_rate_hz)
        low, high = ((recorded.center_hz + side * recorded.sample_rate_hz / 2) / 1e3 for side in (-1, 1))
        return ok, f"{say}; {low:.1f} to {high:.1f} kHz, {(recorded.duration_s or 0.0) / 60:.1f} minutes"
    live = open_receiver(receiver)
    # A sender that is silent would be waited for without end
    enough = threading.Timer(PATIENCE_S, live.close)
    enough.start()
    try:
        return in_words(listen_to(Corrected(live, live.clips_at), live=True), receiver.rate_hz)
    finally:
        enough.cancel()
        live.close()


def open_receiver(receiver: Receiver) -> LiveIq:
    """The sound card or the stream that the settings name."""
    centre_hz = receiver.center_khz * 1000.0
    if receiver.kind == "card":
        device: Any = int(receiver.device) if receiver.device.isdigit() else receiver.device or None
        return sound_card(device, receiver.rate_hz, centre_hz, 2, receiver.swap_iq)
    return tcp(receiver.address, receiver.format, receiver.rate_hz, centre_hz)


def sound_cards() -> tuple[list[str], str]:
    """Names of sound cards with two inputs or more, and why there is no list, if there is none."""
    try:
        import sounddevice

        devices = sounddevice.query_devices()
    except Exception as error:
        if isinstance(error, OSError):
            return [], "Sound cards need the PortAudio library; on Debian install libportaudio2."
        return [], f"The sound cards cannot be listed ({error})."
    names = [str(device["name"]) for device in devices if device["max_input_channels"] >= 2]
    return names, "" if names else "No sound card with two input channels was found."


def recordings(folder: Path) -> list[str]:
    """Names of the recordings that lie in the folder itself."""
    try:
        inside = folder.resolve()
        found = [
            path.name for path in folder.iterdir()
            if path.suffix in ENDINGS and path.is_file() and path.resolve().parent == inside
        ]  # fmt: skip
    except OSError:
        return []
    return sorted(found)


def recording_in(folder: Path, name: str) -> Path:
    """A recording of the folder by its name: nothing outside it can be named. Raises HearmarkError."""
    if name not in recordings(folder):
        raise HearmarkError(f"There is no recording {name!r} in {folder}; choose one of the list.")
    return folder / name
