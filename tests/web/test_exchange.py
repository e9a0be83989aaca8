"""One whole exchange: simulator, engine, page. What the page says is held against what the simulator did."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from conftest import until

from hearmark.engine import Engine, EngineConfig
from hearmark.simulate.people import play
from hearmark.simulate.render import SimulatedSource
from hearmark.simulate.scenario import preset
from hearmark.simulate.session import Contact, Session, Transmission
from hearmark.web.live import LiveSession, View
from hearmark.web.pace import Pace
from hearmark.web.server import Server
from hearmark.web.sound import PITCH_HZ, SOUND_RATE_HZ

Open = Callable[..., Any]
MODEL = "globalThis.hearmark.model"
RATE_HZ = 24_000.0
RIGHT_HZ = 50.0
"""A mark in CW is right within this: the project's own rule of scoring."""
SPOT_KHZ = 1.75
"""Where the right ear stands before it is moved: the middle of the window."""

RECORD = """() => {
  const { model, sound } = globalThis.hearmark;
  const seen = (globalThis.seen = { cues: [], ears: [], replay: null });
  model.subscribe(() => {
    const shown = document.getElementById("cue").dataset.cue;
    const word = document.getElementById("cue-word").textContent;
    seen.cues.push([model.nowS, shown, word]);
  });
  const play = sound.play.bind(sound);
  sound.play = (frame) => {
    if (frame.kind === "replay") seen.replay = { ...frame.values, body: Array.from(frame.body) };
    play(frame);
  };
}"""

EARS = """() => {
  const { model, sound } = globalThis.hearmark;
  const parts = sound.context.createChannelSplitter(2);
  sound.player.connect(parts);
  const ears = [0, 1].map((channel) => {
    const analyser = new AnalyserNode(sound.context, { fftSize: 2048, smoothingTimeConstant: 0 });
    parts.connect(analyser, channel);
    return analyser;
  });
  setInterval(() => {
    const peaks = ears.map((analyser) => {
      const bins = new Float32Array(analyser.frequencyBinCount);
      analyser.getFloatFrequencyData(bins);
      const best = bins.indexOf(Math.max(...bins));
      return [best * analyser.context.sampleRate / analyser.fftSize, bins[best]];
    });
    globalThis.seen.ears.push([model.nowS - sound.delayS(), ...peaks]);
  }, 60);
}"""


class Skip(Pace):
    """Goes to a stated time as fast as the machine can, and keeps time from there on."""

    def __init__(self, until_s: float) -> None:
        super().__init__()
        self.until_s = until_s

    def wait(self, sample_s: float) -> None:
        if sample_s >= self.until_s:
            super().wait(sample_s)


def overs(session: Session) -> list[Transmission]:
    return [sent for sent in session.transmissions if sent.station == 0]


def tone_share(ears: list[Any], ear: int, start_s: float, stop_s: float) -> float:
    """Share of looks at one ear between two times whose strongest bin is the pitch of CW."""
    peaks = [look[1 + ear][0] for look in ears if start_s < look[0] < stop_s]
    assert len(peaks) >= 6
    return float(np.mean(np.abs(np.array(peaks) - PITCH_HZ) < 15.0))


def keying_likeness(replay: dict[str, Any], sent: Transmission) -> float:
    """How well the envelope of a replay follows the key: their correlation, -1 to 1, at the best shift within 0.3 s."""
    assert sent.keying_s is not None
    rate_hz = replay["rate_hz"]
    audio = np.array(replay["body"], dtype=np.float64)
    frame = int(rate_hz * 0.01)
    whole = len(audio) // frame
    level = np.sqrt(np.square(audio[: whole * frame]).reshape(whole, frame).mean(axis=1))
    time_s = replay["start_s"] + (np.arange(whole) + 0.5) * 0.01 - sent.start_s
    likeness = []
    for late_s in np.arange(-0.3, 0.31, 0.01):
        at = time_s[:, None] - late_s
        down = ((at >= sent.keying_s[:, 0]) & (at < sent.keying_s[:, 1])).any(axis=1)
        likeness.append(np.corrcoef(level, down)[0, 1] if 0 < down.sum() < whole else 0.0)
    return float(max(likeness))


@pytest.fixture(scope="module")
def pileup() -> Session:
    return play(preset("easy", "cw", 1, None, 60.0))


@pytest.fixture(scope="module")
def contact(pileup: Session) -> Contact:
    """The first one of the session: the DX asks, callers call, he answers one, who replies once."""
    found = pileup.contacts[0]
    assert found.completed
    assert len(found.reports) == 1
    return found


def test_page_follows_a_whole_exchange(new_page: Open, pileup: Session, contact: Contact) -> None:
    scenario = pileup.scenario
    asks, answers, closes = overs(pileup)[:3]
    assert (asks.role, answers.role, closes.role) == ("cq", "answer", "confirm")
    reply = next(sent for sent in pileup.transmissions if sent.role == "reply" and sent.station == contact.station)
    edges = (scenario.window_low_hz, scenario.window_high_hz)
    source = SimulatedSource(pileup, RATE_HZ, scenario.dx_hz + 1200.0)
    view = View("An exchange", scenario.dx_hz, "cw", *edges, pausable=True)
    session = LiveSession(source.events(), Engine(EngineConfig(scenario.dx_hz, "cw", *edges)), view)
    session.pace = Skip(asks.stop_s - 1.5)
    session.pace.pause(True)
    truth = f"Math.abs({MODEL}.lastMark()?.frequency_hz - {contact.frequency_hz}) < {RIGHT_HZ}"
    with Server(session, port=0) as server:
        page = new_page(server.url)
        page.evaluate(RECORD)
        page.keyboard.press("p")
        until(page, f"{MODEL}.nowS > {asks.stop_s - 1.5}")
        page.keyboard.press("s")
        until(page, f"{MODEL}.status.sound && globalThis.hearmark.sound.report?.played > 0")
        page.evaluate(EARS)

        until(page, f"{MODEL}.nowS > {reply.start_s}", 20.0)
        until(page, f"{truth} && {MODEL}.lastMark().confidence >= 0.5", 4.0)
        assert page.evaluate(f"{MODEL}.nowS") < reply.stop_s
        page.keyboard.press("l")
        until(page, f"Math.abs({MODEL}.status.spot_hz - {contact.frequency_hz}) < {RIGHT_HZ}")
        moved_s = page.evaluate(f"{MODEL}.nowS")

        page.keyboard.press("m")
        until(page, f"{MODEL}.lastMark()?.by === 'operator'")
        by_hand = page.evaluate(f"{MODEL}.lastMark()")
        assert by_hand["frequency_hz"] == pytest.approx(contact.frequency_hz, abs=RIGHT_HZ)
        assert reply.start_s < by_hand["start_s"] < reply.stop_s + 1.0
        page.keyboard.press("u")
        until(page, f"{MODEL}.answers.get({by_hand['id']}).retracted_at_s !== null")
        until(page, f"{truth} && {MODEL}.lastMark().by === 'computation'")

        until(page, f"{MODEL}.nowS > {closes.start_s + 0.8}")
        assert page.evaluate(truth)
        shown = page.inner_text("#marks")
        assert f"{(contact.frequency_hz - scenario.dx_hz) / 1000:+.1f} kilohertz, sure" in shown
        page.keyboard.press("r")
        until(page, "globalThis.seen.replay !== null")
        seen = page.evaluate("globalThis.seen")

    # The cue, at the right time.
    cues = seen["cues"]
    assert {"wait", "listen", "call"} <= {cue for _, cue, _ in cues}
    assert all(word.lower() == cue for _, cue, word in cues if cue != "none")
    while_he_answers = {cue for t, cue, _ in cues if answers.start_s + 1.0 < t < answers.stop_s - 0.1}
    assert while_he_answers <= {"wait"}
    called_s = [t for t, cue, _ in cues if cue == "call"]
    assert asks.stop_s < min(called_s) < asks.stop_s + 2.0
    assert max(called_s) < answers.start_s + 1.0
    listened_s = [t for t, cue, _ in cues if cue == "listen" and t > answers.start_s + 1.0]
    assert answers.stop_s < min(listened_s) < answers.stop_s + 1.0

    # The ears: the DX on the left while he sends; on the right noise, until that ear is where the reply is.
    assert tone_share(seen["ears"], 0, answers.start_s + 0.5, answers.stop_s - 0.3) > 0.7
    assert tone_share(seen["ears"], 1, answers.start_s + 0.5, answers.stop_s - 0.3) < 0.4
    assert tone_share(seen["ears"], 1, moved_s + 0.2, reply.stop_s - 0.1) > 0.7

    # The replay: that station's own Morse, at its pitch, whole.
    replay = seen["replay"]
    assert replay["rate_hz"] == SOUND_RATE_HZ
    assert replay["frequency_hz"] == pytest.approx(contact.frequency_hz, abs=RIGHT_HZ)
    assert replay["start_s"] < reply.start_s
    assert replay["start_s"] + len(replay["body"]) / SOUND_RATE_HZ > reply.stop_s
    spectrum = np.abs(np.fft.rfft(replay["body"]))
    assert np.argmax(spectrum) * SOUND_RATE_HZ / len(replay["body"]) == pytest.approx(PITCH_HZ, abs=25.0)
    assert keying_likeness(replay, reply) > 0.6
    other = next(sent for sent in pileup.transmissions if sent.role == "reply" and sent.station != contact.station)
    assert keying_likeness(replay, Transmission(0, reply.start_s, 0, 0, "", "reply", other.keying_s)) < 0.5
