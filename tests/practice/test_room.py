"""The room behind the page: wishes, what is told, the score sheet, sound."""

import json
import time
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import numpy as np
import pytest
from learner import quiet
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from hearmark.errors import HearmarkError
from hearmark.practice.desk import Desk, Found
from hearmark.practice.ears import Ears, own_sound
from hearmark.practice.play import Practice
from hearmark.practice.room import Room
from hearmark.practice.served import routes
from hearmark.practice.wishes import frequency_hz, read_wish
from hearmark.web.live import LiveSession, View
from hearmark.web.server import Server
from hearmark.web.sound import PITCH_HZ, SOUND_RATE_HZ


class Silent:
    """An engine that says nothing."""

    def feed(self, event: Any, /) -> list[Any]:
        return []


class FakeTab:
    """Keeps what a page would get."""

    def __init__(self) -> None:
        self.frames: list[str | bytes] = []
        self.stale = False
        self.dropped = {"sound": 0, "text": 0, "row": 0}

    def put(self, lane: str, frame: str | bytes) -> None:
        self.frames.append(frame)

    def messages(self, kind: str) -> list[dict[str, Any]]:
        texts = [json.loads(frame) for frame in list(self.frames) if isinstance(frame, str)]
        return [one for one in texts if one["type"] == kind]


@pytest.fixture
def make() -> Iterator[Callable[..., tuple[Room, FakeTab]]]:
    rooms: list[Room] = []

    def start(**options: Any) -> tuple[Room, FakeTab]:
        lessons = options.pop("lessons", {"quiet": quiet(callers=4), "one": quiet(callers=1, aids=["ear", "marks"])})
        room = Room(lessons, "Q9TST", **options)
        rooms.append(room)
        room.start()
        tab = FakeTab()
        room.open(tab)  # type: ignore[arg-type]
        return room, tab

    yield start
    for room in rooms:
        room.stop()


def until(come: Callable[[], Any], limit_s: float = 30.0) -> Any:
    end = time.monotonic() + limit_s
    while not (found := come()):
        if time.monotonic() > end:
            pytest.fail(f"This did not come in {limit_s:g} s.")
        time.sleep(0.02)
    return found


def wish(room: Room, tab: FakeTab, **fields: Any) -> None:
    room.take(tab, json.dumps(fields))  # type: ignore[arg-type]


def test_a_page_gets_lessons_then_the_state_and_each_change(make: Any) -> None:
    room, tab = make()
    levels = tab.messages("levels")[0]
    assert [one["name"] for one in levels["levels"]] == ["quiet", "one"]
    assert levels["levels"][0]["text"] == ["Listen.", "Then call."]
    assert levels["call"] == "Q9TST"
    assert tab.messages("practice")[0]["stage"] == "choose"
    wish(room, tab, verb="begin", name="quiet", seed=5)
    until(lambda: [one for one in tab.messages("practice") if one["stage"] == "lesson"])
    wish(room, tab, verb="split", on=False)
    wish(room, tab, verb="put", dial="transmit", text="+3.2")
    wish(room, tab, verb="lock", on=True)
    wish(room, tab, verb="rit", hz=-40)
    radio = until(
        lambda: [one for one in tab.messages("practice") if one["stage"] != "choose" and one["radio"]["rit_hz"]]
    )[-1]["radio"]
    assert radio["other_hz"] == 14_026_200.0
    assert radio["transmit_hz"] == radio["dial_hz"] == 14_023_000.0
    assert radio["receive_hz"] == 14_022_960.0
    assert radio["locked"]
    wish(room, tab, verb="turn", dial="receive", hz=100)
    assert "locked" in until(lambda: tab.messages("refused"))[-1]["why"]
    late = FakeTab()
    room.open(late)  # type: ignore[arg-type]
    assert late.messages("practice")[0]["radio"]["locked"]


def test_the_window_is_not_given_away_without_aids(make: Any) -> None:
    room, tab = make()
    wish(room, tab, verb="begin", name="quiet")
    shown = until(lambda: [one for one in tab.messages("snapshot") if one["dx_hz"]])[-1]
    assert (shown["window_low_hz"], shown["window_high_hz"]) == (14_019_000.0, 14_029_100.0)
    wish(room, tab, verb="aid", what="ear", on=True)
    shown = until(lambda: [one for one in tab.messages("snapshot") if one["window_low_hz"] == 14_024_900.0])[-1]
    until(lambda: tab.messages("Ear"))
    assert not tab.messages("Answer")
    assert not tab.messages("Turn")


def test_key_faults_and_sheet_reach_the_page_and_the_keeper(make: Any) -> None:
    kept: list[dict[str, Any]] = []
    room, tab = make(keep=kept.append)
    wish(room, tab, verb="sound", on=True)
    wish(room, tab, verb="begin", name="quiet")
    wish(room, tab, verb="split", on=False)
    wish(room, tab, verb="send", what="call")
    told = until(lambda: [one for one in tab.messages("practice") if one.get("faults")])[-1]
    assert {fault["kind"] for fault in told["faults"]} >= {"split off", "on his frequency"}
    assert told["sending"] == {"what": "call", "text": "Q9TST"}
    until(lambda: [frame for frame in tab.frames if isinstance(frame, bytes)])
    wish(room, tab, verb="leave")
    over = until(lambda: [one for one in tab.messages("practice") if one["stage"] == "over"])[0]
    assert over["sheet"]["others"]["program_s"] == "pending"
    found = until(lambda: kept, 120.0)[0]
    assert found["counts"]["split off"] == 1
    assert found["aids"] == []
    assert found["others"]["tail_ender_s"] > 5.0
    assert found["others"]["program_s"] is None or found["others"]["program_s"] > 5.0
    wish(room, tab, verb="send", what="call")
    assert "lesson is over" in until(lambda: tab.messages("refused"))[-1]["why"]


def test_begin_again_and_pause(make: Any) -> None:
    room, tab = make()
    wish(room, tab, verb="begin", name="one")
    wish(room, tab, verb="pause", on=True)
    until(lambda: [one for one in tab.messages("status") if one["state"] == "paused"])
    wish(room, tab, verb="begin", name="quiet", call="W0RK")
    told = until(lambda: [one for one in tab.messages("practice") if one.get("name") == "quiet"])[-1]
    assert told["call"] == "W0RK"
    before = until(lambda: [one for one in tab.messages("status") if one["state"] == "running" and one["now_s"] > 0.4])
    assert before


def test_a_lesson_waits_while_nobody_looks(make: Any) -> None:
    room, tab = make()
    wish(room, tab, verb="begin", name="quiet")
    until(lambda: room.practice is not None and room.practice.now_s > 0.5)
    room.close(tab)
    until(lambda: room.pace.paused)
    stood_s = room.practice.now_s
    time.sleep(0.4)
    assert room.practice.now_s == stood_s
    room.open(tab)
    wish(room, tab, verb="pause", on=False)
    until(lambda: room.practice.now_s > stood_s)


def test_practice_stands_beside_the_live_page_and_keeps_its_door() -> None:
    room = Room({"quiet": quiet()}, alone=False)
    room.start()
    session = LiveSession(iter(()), Silent(), View("Nothing", 14_023e3, "cw", 14_024e3, 14_025e3))
    with Server(session, port=0, more=routes(room)) as server:
        page = httpx.get(f"{server.url}practice")
        assert page.status_code == 200
        assert "Choose a lesson" in page.text
        assert "default-src 'none'" in page.headers["content-security-policy"]
        assert 'href="/practice"' in httpx.get(server.url).text
        address = f"ws://127.0.0.1:{server.port}/practice/link"
        with connect(address, origin=f"http://127.0.0.1:{server.port}") as link:  # type: ignore[arg-type]
            told = json.loads(link.recv(timeout=5))
            assert told["type"] == "levels"
            assert told["alone"] is False
        with pytest.raises(InvalidStatus):
            connect(address, origin="http://evil.example")  # type: ignore[arg-type]
        assert httpx.get(f"{server.url}practice", headers={"host": "evil.example"}).status_code == 403
    room.stop()


def test_wishes_that_cannot_be_are_one_sentence(make: Any) -> None:
    room, tab = make(voice=False)
    wish(room, tab, verb="split", on=True)
    assert "choose one and begin" in until(lambda: tab.messages("refused"))[-1]["why"]
    wish(room, tab, verb="begin", name="nothing")
    until(lambda: "no lesson 'nothing'" in tab.messages("refused")[-1]["why"])
    wish(room, tab, verb="begin", name="quiet", mode="usb")
    until(lambda: "speech synthesiser" in tab.messages("refused")[-1]["why"])
    for text, sentence in [
        ("{", "not JSON"), ("[]", "does not know"), ('{"verb": "transmit"}', "does not know"),
        ('{"verb": "split"}', "needs 'on'"), ('{"verb": "split", "on": 1}', "'on' of 'split' cannot be"),
        ('{"verb": "turn", "dial": "receive", "hz": true}', "cannot be"),
        ('{"verb": "turn", "dial": "receive", "hz": NaN}', "no usable number"),
        ('{"verb": "log", "text": "' + "A" * 200 + '"}', "too long"),
        ('{"verb": "mark", "colour": 1}', "'colour' of 'mark' cannot be"),
    ]:  # fmt: skip
        with pytest.raises(HearmarkError, match=sentence):
            read_wish(text)


@pytest.mark.parametrize(
    ("typed", "hz"),
    [("14028", 14_028e3), ("14028,5 kHz", 14_028.5e3), ("+5", 14_028e3), ("up 2.5", 14_025.5e3), ("-1", 14_022e3),
     ("down 1", 14_022e3), ("\N{MINUS SIGN}1.5", 14_021.5e3)],
)  # fmt: skip
def test_frequencies_as_typed(typed: str, hz: float) -> None:
    assert frequency_hz(typed, 14_023_000.0) == pytest.approx(hz)


@pytest.mark.parametrize("typed", ["", "five", "nan", "+", "1e99", "14.023.5"])
def test_what_is_no_frequency_is_told(typed: str) -> None:
    with pytest.raises(HearmarkError, match=r"is no frequency: type kHz, like 14028\.0"):
        frequency_hz(typed, 14_023_000.0)


def test_hands_on_the_radio() -> None:
    desk = Desk("cw", Found(14_023_000.0, 14_025_000.0, False), 14_019_000.0, 14_029_000.0, receivers=1)
    assert desk.transmit_hz == 14_023_000.0
    desk.split(True)
    assert desk.transmit_hz == 14_025_000.0
    assert desk.ears_hz == (14_023_000.0, 14_023_000.0)
    desk.peek(True)
    assert desk.ears_hz == (14_025_000.0, 14_025_000.0)
    desk.peek(False)
    desk.exchange()
    assert (desk.receive_hz, desk.transmit_hz) == (14_025_000.0, 14_023_000.0)
    desk.level()
    assert desk.transmit_hz == 14_025_000.0
    desk.lock(True)
    for act in (lambda: desk.turn("receive", 10.0), desk.exchange):
        with pytest.raises(HearmarkError, match="locked"):
            act()
    with pytest.raises(HearmarkError, match="nothing to hear beyond"):
        desk.put("transmit", 14_100_000.0)
    two = Desk("cw", Found(14_023_000.0, 14_025_000.0, True), 14_019_000.0, 14_029_000.0, receivers=2)
    assert two.ears_hz == (14_023_000.0, 14_025_000.0)
    with pytest.raises(HearmarkError, match="two receivers"):
        two.peek(True)


def test_the_receiver_is_muted_while_we_send() -> None:
    practice = Practice(quiet(callers=1))
    ears = Ears("cw")
    mine = own_sound("Q9TST", "cw", 28.0, "s01")
    heard = []
    for number in range(200):
        block = practice.next_block()
        if number == 60:
            ears.send(len(mine))
        frame = ears.feed(block, *practice.desk.ears_hz)
        if frame is not None:
            heard.append(np.frombuffer(frame[32:], "<i2").reshape(-1, 2).astype(float))
    at, whole = len(np.concatenate(heard[:60])), np.concatenate(heard)
    assert not whole[at : at + len(mine)].any()
    assert np.std(whole[at - 5000 : at, 0]) > 10.0
    assert np.std(whole[at + len(mine) + 5000 :, 0]) > 100.0


def test_we_hear_ourselves_at_the_pitch_and_softer_than_what_is_received() -> None:
    mine = own_sound("Q9TST", "cw", 28.0, "s01").astype(float)
    spectrum = np.abs(np.fft.rfft(mine))
    assert np.argmax(spectrum) * SOUND_RATE_HZ / len(mine) == pytest.approx(PITCH_HZ, abs=2.0)
    assert 0.02 < np.sqrt(np.mean(np.square(mine))) / 32768 < 0.1
