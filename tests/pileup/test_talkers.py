"""Voices, one by one: when, and on which dial."""

import numpy as np
import pytest

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Block, Emission, Mode
from hearmark.pileup.talkers import Talkers
from hearmark.simulate import keyers, talkers
from hearmark.simulate.keyers import Keyer
from hearmark.simulate.talkers import Talker

RATE, CENTER_HZ, SECONDS = 24_000.0, 18_150_000.0, 6.0


def heard(samples: np.ndarray, mode: Mode = "usb") -> list[Emission]:
    """The newest state of every voice that was not taken back."""
    config = EngineConfig(CENTER_HZ - 6_000.0, mode, CENTER_HZ - 4_000.0, CENTER_HZ + 5_000.0)
    engine, kept = Engine(config), {}
    for first in range(0, len(samples), 2_400):
        block = Block(first, RATE, CENTER_HZ, samples[first : first + 2_400])
        kept.update((e.id, e) for e in engine.feed(block) if isinstance(e, Emission))
    return [e for e in kept.values() if e.stop_s is None or e.stop_s > e.start_s]


@pytest.mark.parametrize(("mode", "side"), [("usb", 1.0), ("lsb", -1.0)])
def test_each_voice_is_placed_in_frequency_and_time(mode: Mode, side: float) -> None:
    sent = [
        Talker("K7ABC KG2OP", voice, CENTER_HZ + hz, 10.0, start_s, 2.0, lower=side < 0)
        for voice, hz, start_s in (("s03", -2_133.0, 1.5), ("s08", 1_912.0, 2.5))
    ]
    found = heard(talkers.band(sent, SECONDS, RATE, CENTER_HZ, np.random.default_rng(1)), mode)
    for talker in sent:
        (voice,) = [e for e in found if abs(e.frequency_hz - talker.dial_hz) < 300.0]
        assert voice.kind == "voice"
        assert voice.measured_hz == pytest.approx(talker.dial_hz, abs=25.0)
        assert voice.frequency_hz == pytest.approx(talker.dial_hz, abs=50.0)
        assert voice.start_s == pytest.approx(talker.start_s, abs=0.3)
        assert voice.stop_s == pytest.approx(talker.stop_s, abs=0.5)


def test_keying_and_carriers_are_no_voices() -> None:
    rng = np.random.default_rng(2)
    keyed = []
    for k in range(8):
        times = keyers.hand("CQ CQ DE ZZ0DX ZZ0DX UP", 25.0, 1.0, rng)
        keyed.append(Keyer("", 25.0, CENTER_HZ - 3_500.0 + 1_100.0 * k, 12.0, times[times[:, 1] < SECONDS - 0.5]))
    samples, _ = keyers.band(keyed, SECONDS, RATE, CENTER_HZ, rng)
    t = np.arange(len(samples)) / RATE
    samples = samples + np.asarray(100.0 * np.exp(2j * np.pi * 700.0 * t), np.complex64)
    assert heard(samples) == []


@pytest.mark.parametrize("apart_steps", [8, 80])
def test_of_two_that_come_upon_each_other_one_goes_on(apart_steps: int) -> None:
    """One talks at dial 40; another, begun at dial 46, drifts on to him, as a tracker does whose voice has stopped."""
    follows = Talkers(CENTER_HZ + 62.5 * np.arange(160), CENTER_HZ - 1_000.0, 15.625)
    ratio = np.random.default_rng(3).exponential(3.0, (4, 900)).astype(np.float32)
    newest: dict[int, Emission] = {}
    for step in range(220):
        beside = 46.0 - 5.0 * min(1.0, max(0.0, (step - 30 - apart_steps) / 10.0))
        places = [40.0] if step < 30 else [40.0, beside]
        dials = np.arange(160)
        talk = np.max([8.0 - 6.0 * np.abs(dials - place) for place in places], axis=0).clip(-8.0, 3.0)
        for emission in follows.feed(talk[None].astype(np.float32), ratio, step * 0.032):
            newest[emission.id] = emission
    first, second = newest[1], newest[2]
    assert first.stop_s is None
    assert second.stop_s is not None
    assert (second.stop_s > second.start_s) == (apart_steps == 80)  # a short one was none
