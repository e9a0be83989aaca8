"""Does the DX send, from one receiver's audio, where the finder is sure of the contrary."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt
import pytest

from hearmark.events import Block, Dial
from hearmark.modes.network import Array
from hearmark.pileup.finder import VoiceFinder, voice_range_hz
from hearmark.pileup.his import His
from hearmark.pileup.look import STEP_S
from hearmark.simulate import people, receiver, scenario, speech
from hearmark.sources.analytic import Analytic
from hearmark.sources.audio import DialTrack
from hearmark.spectrum.slices import Slices

SEED = 904
QUIET, SENDS = np.float32([0.9, 0.02, 0.03, 0.05]), np.float32([0.02, 0.6, 0.35, 0.03])


@pytest.fixture(scope="module")
def audio() -> tuple[Array, npt.NDArray[np.bool_]]:
    """His spectrum, step by step, in the audio of a receiver on his frequency; and whether he sent."""
    sc = scenario.preset("easy", "usb", SEED, duration_s=80.0)
    session = people.play(sc, speech)
    dial = [Dial(0.0, sc.dx_hz, False)]
    samples = Analytic(8000).feed(receiver.receive(session, dial))
    rows: list[Array] = []
    times: list[float] = []
    band = finder = None
    for block in DialTrack(dial, 8000, "usb", 0.0).feed(0, samples):
        if not isinstance(block, Block):
            continue
        if band is None or finder is None:
            band = Slices(block, "usb", sc.dx_hz, *voice_range_hz(sc.dx_hz, sc.dx_hz, sc.dx_hz, "usb"))
            finder = VoiceFinder(band.grid, sc.dx_hz, sc.dx_hz, "usb")
        for batch in band.feed(block):
            rows.append(finder.his(batch.ratio))
            times += [batch.start_s + 0.012 + STEP_S * k for k in range(len(rows[-1]))]
    sent = np.zeros(len(times), np.bool_)
    for t in session.transmissions:
        if t.station == 0:
            sent |= (np.array(times) >= t.start_s) & (np.array(times) < t.stop_s)
    return np.concatenate(rows), sent


def sending(state: Array) -> npt.NDArray[np.bool_]:
    return np.asarray(state[:, 1] + state[:, 2] > 0.5)


@pytest.mark.parametrize("finder", [QUIET, SENDS], ids=["finder hears nothing", "finder hears him always"])
def test_his_own_spectrum_prevails_over_a_finder_that_errs(
    audio: tuple[Array, npt.NDArray[np.bool_]], finder: Array
) -> None:
    rows, sent = audio
    state = His("voice").weighed(np.tile(finder, (len(rows), 1)), rows)
    known = slice(300, None)
    assert 0.1 < sent[known].mean() < 0.9
    assert np.mean(sending(state)[known] == sent[known]) > 0.9
    np.testing.assert_allclose(state.sum(axis=1), 1.0, atol=1e-5)


def test_what_he_sends_and_how_he_listens_stays_the_finders_to_tell(audio: tuple[Array, npt.NDArray[np.bool_]]) -> None:
    state = His("voice").weighed(np.tile(SENDS, (len(audio[0]), 1)), audio[0])
    np.testing.assert_allclose(state[:, 1] / state[:, 2], 0.6 / 0.35, rtol=1e-3)
    np.testing.assert_allclose(state[:, 0] / state[:, 3], 0.02 / 0.03, rtol=1e-2)


@pytest.mark.parametrize(("kind", "width"), [("voice", 208), ("morse", 76)])
def test_steps_in_any_portion_and_after_forgetting_are_the_same(kind: Literal["voice", "morse"], width: int) -> None:
    rows = np.random.default_rng(5).normal(0.3, 0.6, (240, width)).astype(np.float32)
    state = np.tile(QUIET, (240, 1))
    his = His(kind)
    whole = his.weighed(state, rows)
    his.forget()
    parts = [his.weighed(state[k : k + 3], rows[k : k + 3]) for k in range(0, 240, 3)]
    np.testing.assert_allclose(np.concatenate(parts), whole, atol=1e-4)
    assert np.ptp(whole[:, 0]) > 0.0, "the rows say something"
