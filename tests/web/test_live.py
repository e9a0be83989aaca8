"""A session without a browser: pace, fan-out, late pages, the operator's requests."""

import asyncio
import json
import struct
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from script import DX_HZ, RATE_HZ, VIEW, ScriptedEngine, stream

from hearmark.errors import HearmarkError
from hearmark.events import Answer, Block, Event, Plan, RadioState
from hearmark.web.actions import Action
from hearmark.web.fan import DEPTH, Fan, Tab
from hearmark.web.listener import Listener
from hearmark.web.live import LiveSession
from hearmark.web.pace import Pace


def texts(tab: Tab) -> list[dict[str, Any]]:
    return [json.loads(frame) for frame in tab.drain() if isinstance(frame, str)]


def new_tab() -> Tab:
    loop = asyncio.new_event_loop()
    loop.close()  # nobody waits in it: these tests take what is there
    return Tab(loop)


def run(duration_s: float, **options: Any) -> tuple[LiveSession, ScriptedEngine]:
    engine = ScriptedEngine()
    session = LiveSession(stream(0.0, duration_s), engine, VIEW, paced=False, **options)
    return session, engine


class Waiting:
    """A source that stands until it is let go on, so that requests come between two known blocks."""

    def __init__(self, duration_s: float) -> None:
        self.duration_s = duration_s
        self.stands = threading.Event()
        self.go = threading.Event()

    def __iter__(self) -> Iterator[Event]:
        blocks = list(stream(0.0, self.duration_s))
        yield from blocks[:-1]
        self.stands.set()
        self.go.wait(10)
        yield blocks[-1]


def asked(duration_s: float, *actions: Action, **options: Any) -> tuple[LiveSession, ScriptedEngine, Tab]:
    """A session in which a page asks these things just before the last block."""
    source, engine, tab = Waiting(duration_s), ScriptedEngine(), new_tab()
    session = LiveSession(source, engine, VIEW, paced=False, **options)
    session.open(tab)
    session.start()
    assert source.stands.wait(10)
    for action in actions:
        session.ask(tab, action)
    source.go.set()
    assert session.join(20)
    return session, engine, tab


def test_late_page_gets_the_state_so_far_and_the_same_as_an_early_one() -> None:
    session, _ = run(15.0)
    early, late = new_tab(), new_tab()
    session.open(early)
    session.start()
    assert session.join(20)
    session.open(late)
    snapshot, *rest = texts(late)
    assert snapshot["type"] == "snapshot"
    assert rest == []
    seen: dict[tuple[str, int], dict[str, Any]] = {
        (m["type"], m["id"]): m for m in texts(early) if m["type"] in ("Answer", "Turn", "Over")
    }
    told = {(m["type"], m["id"]): m for m in snapshot["events"] if m["type"] in ("Answer", "Turn", "Over")}
    assert told == seen
    assert ("Answer", 0) in told


def test_slow_page_loses_the_oldest_is_counted_and_gets_a_fresh_state() -> None:
    fan, tab = Fan(), new_tab()
    fan.open(tab, lambda: [("text", "hello")])
    for n in range(DEPTH["text"] + 10):
        fan.put("text", str(n))
    assert fan.dropped_locked() == {"sound": 0, "text": 11, "row": 0}
    fan.refresh(lambda: "fresh")
    assert tab.drain() == ["fresh"]
    fan.put("text", "next")
    fan.refresh(lambda: "never")
    assert tab.drain() == ["next"]
    fan.close(tab)
    assert fan.dropped_locked()["text"] == 11


def test_sound_goes_before_text_and_text_before_the_picture() -> None:
    tab = new_tab()
    tab.put("row", b"row")
    tab.put("text", "text")
    tab.put("sound", b"sound")
    assert tab.drain() == [b"sound", "text", b"row"]


def test_marks_by_hand_reach_the_engine_and_come_back_to_the_page() -> None:
    mark = Action("mark", 18_150_000.0)
    _, engine, tab = asked(15.0, mark, Action("mark", 18_151_000.0, time_s=2.5), Action("unmark", answer=0))
    assert [(n.text, n.frequency_hz, n.answer) for n in engine.notes] == [
        ("mark", 18_150_000.0, None), ("mark", 18_151_000.0, None), ("unmark", None, 0),
    ]  # fmt: skip
    assert engine.notes[0].time_s == pytest.approx(14.95, abs=0.06)
    assert engine.notes[1].time_s == 2.5
    answers = {m["id"]: m for m in texts(tab) if m["type"] == "Answer"}
    assert answers[9001]["by"] == "operator"
    assert answers[0]["retracted_at_s"] is not None


@pytest.mark.parametrize(
    ("action", "sentence"),
    [
        (Action("unmark", answer=4711), "There is no mark number 4711"),
        (Action("replay"), "no answer to hear again yet"),
        (Action("transmit", DX_HZ + 500), "500 Hz from the DX our signal would cover him"),
    ],
)
def test_what_cannot_be_done_is_refused_with_its_reason(action: Action, sentence: str) -> None:
    _, engine, tab = asked(1.0, action)
    assert [m["why"] for m in texts(tab) if m["type"] == "refused" and sentence in m["why"]] != []
    assert engine.notes == []


def test_the_air_cannot_be_paused() -> None:
    source, tab = Waiting(0.5), new_tab()
    view = VIEW.__class__("Air", DX_HZ, "usb", VIEW.window_low_hz, VIEW.window_high_hz)
    session = LiveSession(source, ScriptedEngine(), view, paced=False)
    session.open(tab)
    session.start()
    session.ask(tab, Action("pause", on=True))
    source.go.set()
    assert session.join(10)
    assert any(m["type"] == "refused" and "cannot be paused" in m["why"] for m in texts(tab))


def test_moving_our_frequency_is_told_to_engine_and_page_or_asked_of_the_radio() -> None:
    move = Action("transmit", DX_HZ + 7400)
    _, _, tab = asked(0.5, move)
    assert [m["transmit_hz"] for m in texts(tab) if m["type"] == "RadioState"] == [VIEW.transmit_hz, DX_HZ + 7400]
    moved: list[float] = []
    _, _, tab = asked(0.5, move, tune=moved.append)
    assert moved == [DX_HZ + 7400]
    assert [m for m in texts(tab) if m["type"] == "RadioState"] == []


def test_failing_source_is_shown_and_ends_the_session() -> None:
    def broken() -> Iterator[Event]:
        yield from stream(0.0, 0.2)
        raise HearmarkError("The receiver went away.")

    session, tab = LiveSession(broken(), ScriptedEngine(), VIEW, paced=False), new_tab()
    session.open(tab)
    session.start()
    assert session.join(10)
    last = texts(tab)[-1]
    assert (last["state"], last["failure"]) == ("failed", "The receiver went away.")
    with pytest.raises(HearmarkError, match="ended"):
        session.ask(tab, Action("mark", 1.0))


def test_plan_moves_view_and_ear() -> None:
    plan = Plan(DX_HZ + 1000, DX_HZ + 3000, DX_HZ + 4000, "cw")
    session = LiveSession([plan, *stream(0.0, 0.2)], ScriptedEngine(), VIEW, paced=False)
    session.start()
    assert session.join(10)
    assert (session.view.dx_hz, session.view.mode, session.view.window_low_hz) == (DX_HZ + 1000, "cw", DX_HZ + 3000)


class Clock:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def test_pace_gives_up_lost_time_and_does_not_rush() -> None:
    clock = Clock()
    pace = Pace(clock)
    pace.wait(0.0)
    clock.now_s += 0.3
    pace.wait(0.1)
    assert pace.behind_s == pytest.approx(0.2)
    clock.now_s += 5.0
    pace.wait(0.2)
    assert pace.slipped_s == pytest.approx(5.1)
    pace.wait(0.2)
    assert pace.behind_s == pytest.approx(0.0)


def test_pause_does_not_count_as_time_lost() -> None:
    clock = Clock()
    pace = Pace(clock)
    pace.wait(0.0)
    pace.pause(True)

    def poll() -> None:
        clock.now_s += 60.0
        pace.pause(False)

    pace.hold(poll, step_s=0.0)
    pace.wait(0.0)
    assert (pace.behind_s, pace.slipped_s, pace.paused) == (0.0, 0.0, False)


def test_stop_ends_a_wait_and_a_pause() -> None:
    pace = Pace()
    pace.wait(0.0)
    pace.pause(True)
    ended = threading.Thread(target=lambda: (pace.hold(), pace.wait(1000.0)))
    ended.start()
    pace.stop()
    ended.join(5)
    assert not ended.is_alive()


def test_paced_session_takes_about_its_own_time() -> None:
    session = LiveSession(stream(0.0, 0.5), ScriptedEngine(), VIEW)
    began = time.monotonic()
    session.start()
    assert session.join(20)
    # A lower bound only: a slow machine may take longer, but nothing may rush.
    assert time.monotonic() - began > 0.4


def blocks_with_tone(hz: float, duration_s: float) -> list[Block]:
    out = []
    for block in stream(0.0, duration_s):
        t = (block.first_sample + np.arange(len(block.samples))) / RATE_HZ
        tone = 0.1 * np.exp(2j * np.pi * (hz + 1000 - block.center_hz) * t)
        out.append(Block(block.first_sample, RATE_HZ, block.center_hz, tone.astype(np.complex64)))
    return out


def test_answer_is_heard_again_long_after_it_has_left_the_ring() -> None:
    hz = DX_HZ + 8000
    listener = Listener(DX_HZ, "usb", DX_HZ + 5000)
    for block in blocks_with_tone(hz, 30.0):
        listener.feed(block)
        if abs(block.stop_s - 6.0) < 0.03:
            listener.remember(Answer(1, 4.0, None, 6.0, hz + 200, 0.6))
        if abs(block.stop_s - 7.5) < 0.03:
            listener.remember(Answer(1, 4.0, 6.5, 7.5, hz, 0.9))
    frame = listener.replay()
    audio = np.frombuffer(frame[32:], np.int16)[6000:30_000]
    assert np.argmax(np.abs(np.fft.rfft(audio))) * 12_000 / len(audio) == pytest.approx(1000, abs=2)
    listener.remember(Answer(1, 4.0, 6.5, 7.5, hz, 0.9, retracted_at_s=29.0))
    with pytest.raises(HearmarkError, match="no answer"):
        listener.replay()


def test_a_mark_taken_back_leaves_the_answer_before_it_to_hear() -> None:
    first_hz, second_hz = DX_HZ + 8000, DX_HZ + 9000
    listener = Listener(DX_HZ, "usb", DX_HZ + 5000)
    second = Answer(2, 5.0, 6.0, 6.5, second_hz, 1.0, by="operator")
    for block in blocks_with_tone(first_hz, 9.0):
        listener.feed(block)
        if abs(block.stop_s - 4.0) < 0.03:
            listener.remember(Answer(1, 2.0, 3.5, 4.0, first_hz, 0.9))
        if abs(block.stop_s - 6.5) < 0.03:
            listener.remember(second)
    assert struct.unpack_from("<3d", listener.replay(), 8) == (12_000.0, second_hz, pytest.approx(4.6, abs=0.01))
    listener.remember(replace(second, retracted_at_s=9.0))
    assert struct.unpack_from("<3d", listener.replay(), 8) == (12_000.0, first_hz, pytest.approx(1.6, abs=0.01))


def test_sound_is_made_only_when_asked_and_starts_anew_after_a_long_hole() -> None:
    listener = Listener(DX_HZ, "usb", DX_HZ + 6800)
    blocks = list(stream(0.0, 6.0))
    assert listener.feed(blocks[0]) is None
    listener.on = True
    frames = [listener.feed(block) for block in blocks[1:40]]
    assert all(frame is not None for frame in frames[2:])
    after = listener.feed(blocks[100])
    longest = max(len(frame) for frame in frames if frame is not None)
    assert after is None or len(after) <= longest


def test_stream_without_a_usable_rate_says_why_there_is_no_sound() -> None:
    listener = Listener(DX_HZ, "usb", DX_HZ + 6800)
    listener.on = True
    assert listener.feed(Block(0, 7_812.5, DX_HZ, np.zeros(500, np.complex64))) is None
    assert "multiple of 50 Hz" in listener.trouble


def test_radio_state_of_a_real_radio_moves_the_page() -> None:
    state = RadioState(0.0, DX_HZ, DX_HZ + 5500, True, "usb")
    session, tab = LiveSession([state, *stream(0.0, 0.1)], ScriptedEngine(), VIEW, paced=False), new_tab()
    session.start()
    assert session.join(10)
    session.open(tab)
    assert texts(tab)[0]["transmit_hz"] == DX_HZ + 5500
