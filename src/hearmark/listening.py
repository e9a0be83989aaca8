"""From what the operator asks for to a live source: demo, recording, sound card or stream."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path
from typing import Literal

from hearmark.duplex.bands import usual_mode
from hearmark.duplex.window import window_offsets_hz
from hearmark.errors import HearmarkError
from hearmark.events import Answer, Block, Event, Mode, Warned
from hearmark.marks import settled
from hearmark.review import Listener
from hearmark.settings import Settings
from hearmark.simulate import speech
from hearmark.simulate.people import play
from hearmark.simulate.render import SimulatedSource
from hearmark.simulate.scenario import preset, varied
from hearmark.simulate.session import Habit, Session
from hearmark.sources.front_end import Corrected
from hearmark.sources.live import LiveIq, sound_card, standard_input, tcp
from hearmark.sources.recording import SigmfWriter, open_recording
from hearmark.sources.source import Source

Level = Literal["easy", "hard", "brutal", "varied"]
DEMO_S: dict[Mode, float] = {"cw": 1_800.0, "usb": 600.0, "lsb": 600.0}
"""Voices are spoken before the demo begins, so it is shorter with them."""
DEMO_RATE_HZ = 48_000.0
PATIENCE_S = 12.0
WIDTH_HZ: dict[Mode, float] = {"cw": 150.0, "usb": 2_700.0, "lsb": -2_700.0}
"""How far an annotation reaches from a mark's frequency."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What was asked for; None where the settings decide."""

    demo: bool = False
    recording: Path | None = None
    card: bool = False
    address: str | None = None
    from_stdin: bool = False
    dx_hz: float | None = None
    mode: Mode | None = None
    window: str = "up"
    center_hz: float | None = None
    rate_hz: float | None = None
    datatype: str | None = None
    device: str | None = None
    level: Level = "easy"
    seed: int = 8
    dial: Path | None = None
    """Of a recording of one receiver's audio: where its dial stood."""
    pitch_hz: float = 600.0


@dataclass(frozen=True, slots=True)
class Heard:
    """A source ready to be listened to.

    `paced`: it does not keep time by itself. `transmit_hz`: where we send; None where that is not known.
    """

    title: str
    events: Iterator[Event]
    dx_hz: float
    mode: Mode
    window_low_hz: float
    window_high_hz: float
    sample_rate_hz: float
    paced: bool
    transmit_hz: float | None = None
    invented: bool = False
    """An invented pile-up: nothing of it belongs into a real log."""
    live: LiveIq | None = None
    """The receiver behind it, if it is one that runs by itself."""

    def close(self) -> None:
        """Lets go of the receiver."""
        if self.live is not None:
            self.live.close()


def invented(level: Level, mode: Mode, seed: int, habit: Habit | None, duration_s: float) -> Session:
    """An invented pile-up of stated difficulty; voices take as long as their synthesis does."""
    if level == "varied":
        if habit is not None:
            raise HearmarkError("A varied pile-up draws its habit by itself; leave the habit out or choose a level.")
        scenario = varied(mode, seed, duration_s)
    else:
        scenario = preset(level, mode, seed, habit, duration_s)
    return play(scenario, None if mode == "cw" else speech)


def is_invented(wish: Wish, settings: Settings) -> bool:
    """Whether an invented pile-up is wished for, or named by the settings. Raises HearmarkError for several sources."""
    asked = [wish.demo, wish.recording is not None, wish.card, wish.address is not None, wish.from_stdin]
    if sum(asked) > 1:
        raise HearmarkError("Several sources were named; choose one of --demo, --file, --card, --tcp and --stdin.")
    if wish.dial is not None and wish.recording is None:
        raise HearmarkError("A dial log belongs to a recording of audio; name that with --file.")
    return wish.demo or (not any(asked) and settings.receiver.kind == "demo")


def open_live(wish: Wish, settings: Settings) -> Heard:
    """The one source that is wished for, or that the settings name. Raises HearmarkError for none or several."""
    if is_invented(wish, settings):
        return _demo(wish)
    named = wish.recording is not None or wish.card or wish.address is not None or wish.from_stdin
    kind = "" if named else settings.receiver.kind
    if wish.dx_hz is None:
        raise HearmarkError("The frequency of the DX is not known; add --dx KHZ.")
    mode = wish.mode or usual_mode(wish.dx_hz)
    low_hz, high_hz = (wish.dx_hz + offset_hz for offset_hz in window_offsets_hz(wish.window, mode, wish.dx_hz))
    recording, center_hz = wish.recording, wish.center_hz
    if kind == "recording":
        receiver = settings.receiver
        if not receiver.file:
            raise HearmarkError("Which recording? Give file under [receiver] in the settings, or --file.")
        recording = Path(receiver.folder).expanduser() / receiver.file
        if center_hz is None and receiver.center_khz and recording.suffix == ".wav":
            center_hz = receiver.center_khz * 1000.0
    if wish.dial is not None:
        return _audio(wish, mode, low_hz, high_hz)
    if recording is not None:
        recorded = open_recording(recording, center_hz)
        check_band(recorded, wish.dx_hz, (low_hz, high_hz))
        title, rate_hz = recording.name, recorded.sample_rate_hz
        return Heard(title, recorded.events(), wish.dx_hz, mode, low_hz, high_hz, rate_hz, paced=True)
    live = _live(wish, settings, kind)
    try:
        check_band(live, wish.dx_hz, (low_hz, high_hz))
    except HearmarkError:
        live.close()
        raise
    events = Corrected(live, live.clips_at).events()
    return Heard("Live", events, wish.dx_hz, mode, low_hz, high_hz, live.sample_rate_hz, paced=False, live=live)


def begun(heard: Heard, patience_s: float = PATIENCE_S) -> Heard:
    """The same, once its first samples have come. Raises HearmarkError when none do; then it is closed."""
    found: list[Event] = []
    trouble: list[HearmarkError] = []

    def read() -> None:
        try:
            for event in heard.events:
                found.append(event)
                if isinstance(event, Block):
                    return
        except HearmarkError as error:
            trouble.append(error)

    reader = threading.Thread(target=read, name="hearmark-begin", daemon=True)
    reader.start()
    reader.join(patience_s)
    if trouble or reader.is_alive() or not found or not isinstance(found[-1], Block):
        heard.close()
        raise trouble[0] if trouble else HearmarkError(f"{heard.title}: no samples came; is the receiver running?")
    return replace(heard, events=chain(found, heard.events))


def elsewhere(heard: Heard, dx_hz: float, mode: Mode, window: str) -> Heard:
    """The receiver that is heard already, for another DX. Raises HearmarkError for one out of its reach."""
    if heard.live is None:
        raise HearmarkError("Only a receiver that runs can be heard on.")
    low_hz, high_hz = (dx_hz + offset_hz for offset_hz in window_offsets_hz(window, mode, dx_hz))
    check_band(heard.live, dx_hz, (low_hz, high_hz))
    return replace(heard, dx_hz=dx_hz, mode=mode, window_low_hz=low_hz, window_high_hz=high_hz)


def check_band(source: Source, dx_hz: float | None, window_hz: tuple[float, float] | None) -> None:
    """Raise HearmarkError unless the DX and some of the window lie within what an I/Q source covers."""
    low_hz, high_hz = (source.center_hz + side * source.sample_rate_hz / 2 for side in (-1, 1))
    covers = (
        f"the samples cover {low_hz / 1000:.1f} to {high_hz / 1000:.1f} kHz; "
        "check the DX's frequency, the window and the centre of the band."
    )
    if dx_hz is not None and not low_hz < dx_hz < high_hz:
        raise HearmarkError(f"The DX on {dx_hz / 1000:.2f} kHz is out of reach: {covers}")
    if window_hz is not None and not (window_hz[0] < high_hz and window_hz[1] > low_hz):
        raise HearmarkError(
            f"The window {window_hz[0] / 1000:.2f} to {window_hz[1] / 1000:.2f} kHz is out of reach: {covers}"
        )


class Recorder:
    """An engine that also puts on record what it hears and what it marks."""

    def __init__(self, engine: Listener, writer: SigmfWriter, mode: Mode) -> None:
        self._engine, self._writer, self._mode = engine, writer, mode
        self._answers: list[Answer] = []

    def feed(self, event: Event, /) -> Iterable[Event]:
        """Pass an event on; keep blocks and answers."""
        if isinstance(event, Block):
            self._writer.write(event)
        elif isinstance(event, Warned):
            self._writer.remark(event.time_s, "guard", event.why if event.active else f"over: {event.why}")
        return self._kept(self._engine.feed(event))

    def finish(self) -> Iterable[Event]:
        """Pass the end on."""
        return self._kept(self._engine.finish())

    def annotate(self) -> None:
        """Put the marks, as they stand now, into the recording."""
        self._writer.annotate(settled(self._answers, self._mode), WIDTH_HZ[self._mode])

    def _kept(self, events: Iterable[Event]) -> list[Event]:
        """The events, after their answers were kept."""
        found = list(events)
        self._answers += [event for event in found if isinstance(event, Answer)]
        return found


def _demo(wish: Wish) -> Heard:
    """An invented pile-up, as long as the table says."""
    mode = wish.mode or "cw"
    session = invented(wish.level, mode, wish.seed, None, DEMO_S[mode])
    scenario = session.scenario
    edges = (scenario.dx_hz, scenario.window_low_hz, scenario.window_high_hz)
    source = SimulatedSource(session, DEMO_RATE_HZ, round((min(edges) + max(edges)) / 2))
    title = f"Demo: an invented {wish.level} pile-up"
    low_hz, high_hz = scenario.window_low_hz, scenario.window_high_hz
    middle_hz = 100.0 * round((low_hz + high_hz) / 200.0)
    transmit_hz = middle_hz if high_hz > low_hz else None
    return Heard(title, source.events(), scenario.dx_hz, mode, low_hz, high_hz, DEMO_RATE_HZ, True, transmit_hz, True)


def _audio(wish: Wish, mode: Mode, low_hz: float, high_hz: float) -> Heard:
    """One receiver's audio with the log of its dial, at the speed of life."""
    if wish.recording is None or wish.dx_hz is None or wish.dial is None:
        raise HearmarkError("The audio of a receiver needs its file, its dial log and the DX's frequency.")
    if wish.mode is None:
        raise HearmarkError("The sideband and the pitch of audio depend on the mode; add --mode cw, usb or lsb.")
    pitch_hz = wish.pitch_hz if mode == "cw" else 0.0
    recorded = open_recording(wish.recording, None, wish.dial, "lsb" if mode == "lsb" else "usb", pitch_hz)
    rate_hz = recorded.sample_rate_hz
    return Heard(wish.recording.name, recorded.events(), wish.dx_hz, mode, low_hz, high_hz, rate_hz, paced=True)


def _live(wish: Wish, settings: Settings, kind: str) -> LiveIq:
    """The receiver that runs by itself."""
    receiver = settings.receiver
    rate_hz = receiver.rate_hz if wish.rate_hz is None else wish.rate_hz
    center_hz = wish.center_hz or receiver.center_khz * 1000.0
    datatype = wish.datatype or receiver.format
    if not center_hz:
        raise HearmarkError("The centre of the I/Q band is not known; add --center KHZ.")
    if wish.card or kind == "card":
        name = wish.device or receiver.device
        device = int(name) if name.isdigit() else name or None
        return sound_card(device, rate_hz, center_hz, 2, receiver.swap_iq)
    if wish.address is not None or kind == "tcp":
        return tcp(wish.address or receiver.address, datatype, rate_hz, center_hz)
    return standard_input(sys.stdin.buffer, datatype, rate_hz, center_hz)
