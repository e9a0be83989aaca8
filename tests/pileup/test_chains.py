"""The same voice at the same place in later turns."""

import pytest

from hearmark.events import Emission
from hearmark.pileup.chains import Chains


def voice(
    number: int, start_s: float, place_hz: float, pitch_hz: float | None = 150.0, length_s: float = 2.0
) -> Emission:
    return Emission(
        number, start_s, start_s + length_s, place_hz, "voice", 10.0, measured_hz=place_hz, pitch_hz=pitch_hz
    )  # fmt: skip


def test_one_voice_on_one_place_is_one_chain_and_its_neighbour_another() -> None:
    chains, told = Chains(), []
    for turn in range(4):
        chains.over_ends(10.0 * turn)
        told.append([
            chains.told(voice(2 * turn, 10.0 * turn + 0.5, 18_156_200.0 + 4.0 * turn, 140.0 + 3 * turn)).chain,
            chains.told(voice(2 * turn + 1, 10.0 * turn + 1.0, 18_157_300.0, 230.0)).chain,
        ])  # fmt: skip
    assert {one for one, _ in told} == {told[0][0]}
    assert {other for _, other in told} == {told[0][1]}
    assert told[0][0] != told[0][1]


@pytest.mark.parametrize(
    ("off_hz", "pitch_hz", "same"), [(5.0, 150.0, True), (60.0, 150.0, False), (25.0, 290.0, False)]
)
def test_place_and_pitch_settle_it(off_hz: float, pitch_hz: float, same: bool) -> None:
    chains = Chains()
    first = chains.told(voice(1, 1.0, 18_156_200.0))
    second = chains.told(voice(2, 11.0, 18_156_200.0 + off_hz, pitch_hz))
    assert (first.chain == second.chain) is same


def test_two_that_talk_at_once_are_two() -> None:
    chains = Chains()
    assert chains.told(voice(1, 1.0, 18_156_200.0)).chain != chains.told(voice(2, 2.0, 18_156_203.0)).chain


def test_what_goes_on_or_was_taken_back_has_no_chain() -> None:
    chains = Chains()
    running = Emission(1, 1.0, None, 18_156_200.0, "voice", 10.0)
    assert chains.told(running) == running
    assert chains.told(voice(2, 1.0, 18_156_200.0, length_s=0.0)).chain is None


def test_after_ten_minutes_a_place_is_anybody_s() -> None:
    chains = Chains()
    assert chains.told(voice(1, 1.0, 18_156_200.0)).chain != chains.told(voice(2, 700.0, 18_156_200.0)).chain
