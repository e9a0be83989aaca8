"""Split or simplex, by what begins after his overs."""

from dataclasses import replace

import pytest

from hearmark.events import Answer, Emission, Over
from hearmark.pileup.working import Responders, responses, split_probability, window_hz

DX_HZ = 14_023_000.0


def overs(count: int, text: str = "") -> list[Over]:
    """Three seconds of every ten."""
    return [
        Over(k + 1, 10.0 * k, 10.0 * k + 3.0, DX_HZ, text, sure=(0.99,) * len(text)) for k in range(count)
    ]  # fmt: skip


def emission(id: int, start_s: float, offset_hz: float, length_s: float = 2.0) -> Emission:
    return Emission(id, start_s, start_s + length_s, DX_HZ + offset_hz, "cw", 10.0)


def callers(count: int, offset_hz: float = 1_000.0) -> list[Emission]:
    """Three after every over, each elsewhere."""
    return [
        emission(100 * k + n, 10.0 * k + 3.2 + 0.3 * n, offset_hz + 400.0 * n + 90.0 * k)
        for k in range(count)
        for n in range(3)
    ]  # fmt: skip


def others(count: int) -> list[Emission]:
    """A contact beside him that has nothing to do with him: one begins every 6 s."""
    return [emission(k, 6.0 * k + 0.5, 2_000.0, 5.0) for k in range(count)]


def chance(of: list[Over], heard: list[Emission]) -> float:
    return split_probability(responses(of, heard, DX_HZ, "cw"))


def test_callers_who_begin_when_he_stops_make_it_split() -> None:
    assert chance(overs(3), callers(3)) > 0.95


def test_nobody_elsewhere_makes_it_simplex() -> None:
    assert chance(overs(3), []) < 0.1


def test_a_contact_of_others_beside_him_does_not_make_it_split() -> None:
    assert chance(overs(4), others(7)) < 0.4


def test_callers_on_his_own_frequency_make_it_simplex() -> None:
    near = [replace(one, frequency_hz=DX_HZ + 60.0) for one in callers(4)]
    counted = responses(overs(4), near, DX_HZ, "cw")
    assert (counted.responses, counted.on_his_own) == (0, 4)
    assert split_probability(counted) < 0.1
    some = replace(counted, responses=4, places=2)
    assert split_probability(some) < split_probability(replace(some, on_his_own=0))


def test_a_word_that_sends_callers_away_counts_if_it_was_read_well() -> None:
    said = overs(3, "TU UP")
    assert chance(said, []) > chance(overs(3), [])
    assert chance([replace(one, sure=(0.3,) * 5) for one in said], []) == chance(overs(3), [])
    assert chance(overs(3, "SUPER CUP"), []) == chance(overs(3), [])


def test_pauses_between_words_are_no_turns_and_what_was_taken_back_is_nothing() -> None:
    parts = [
        half
        for one in overs(3)
        for half in (replace(one, stop_s=one.start_s + 1.0), replace(one, id=one.id + 50, start_s=one.start_s + 1.3))
    ]
    counted = responses(parts, [replace(one, stop_s=one.start_s) for one in callers(3)], DX_HZ, "cw")
    assert (counted.overs, counted.responses) == (3, 0)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_the_window_is_where_those_call_who_respond(side: float) -> None:
    heard = [replace(one, frequency_hz=DX_HZ + side * (one.frequency_hz - DX_HZ)) for one in callers(4)]
    loud = emission(999, 5.5, 9_000.0)  # begins long after he stopped
    edges = window_hz(overs(4), [*heard, loud], DX_HZ, "cw")
    assert edges is not None
    near, far = sorted(abs(edge - DX_HZ) for edge in edges)
    assert 950.0 <= near <= 1_150.0
    assert 1_900.0 <= far <= 2_100.0
    assert (edges[0] > DX_HZ) is (side > 0)


def test_three_callers_are_no_window() -> None:
    assert window_hz(overs(1), callers(1), DX_HZ, "cw") is None


def test_it_is_told_once_after_each_over_and_follows_a_change() -> None:
    responders = Responders(DX_HZ, "cw")
    told = []
    for over in overs(16):
        responders.over(replace(over, stop_s=None))
        responders.over(over)
        if over.id <= 5:
            for one in callers(16)[3 * (over.id - 1) : 3 * over.id]:
                responders.emission(one)
        told += [found for found in (responders.told(over.stop_s + 0.1 * k) for k in range(70)) if found]  # type: ignore[operator]
    assert [found.overs for found in told] == [2, 3, 4, 5, *[6] * 11]
    assert told[0].split > 0.9
    assert told[3].split > 0.95
    assert told[-1].split < 0.1, "he has gone simplex"
    assert told[1].low_hz is not None


def test_voices_that_overlap_are_a_crowd_and_contacts_side_by_side_are_none() -> None:
    # They call all the time, so that nobody is seen to begin when he stops
    def voices(apart_hz: float) -> list[Emission]:
        return [replace(emission(k, 0.5 + 0.1 * k, 5_000.0 + apart_hz * k, 60.0), kind="voice") for k in range(4)]

    crowd, contacts = (responses(overs(4), voices(apart_hz), DX_HZ, "usb") for apart_hz in (700.0, 2_500.0))
    assert (crowd.responses, contacts.responses) == (0, 0)
    assert crowd.crowd == pytest.approx(4.0, abs=0.2)
    assert contacts.crowd == 0.0
    assert split_probability(crowd) > 0.7
    assert split_probability(contacts) < 0.1


def test_in_voice_a_confirmed_mark_elsewhere_tells_split_until_it_is_taken_back() -> None:
    mark = Answer(1, 5.5, 7.0, 7.5, DX_HZ + 5_000.0, 0.97)
    sure, doubtful, gone = (
        split_probability(responses(overs(4), [], DX_HZ, "usb", [one]))
        for one in (mark, replace(mark, confidence=0.8), replace(mark, retracted_at_s=8.0))
    )
    assert sure > 5.0 * doubtful
    assert doubtful == gone == split_probability(responses(overs(4), [], DX_HZ, "usb"))
    assert (
        split_probability(responses(overs(4), [], DX_HZ, "usb", [mark, *(replace(mark, id=k) for k in (2, 3))])) > 0.5
    )
    assert responses(overs(4), [], DX_HZ, "cw", [mark]).marks == 0.0


def test_marks_by_hand_tell_nothing_of_how_he_works() -> None:
    told = []
    for by in ("computation", "operator"):
        responders = Responders(DX_HZ, "usb")
        for over in overs(4):
            responders.over(over)
        responders.mark(Answer(1, overs(4)[-1].start_s - 1.0, None, 0.0, DX_HZ + 5_000.0, 0.99, by=by))  # type: ignore[arg-type]
        found = responders.told((overs(4)[-1].stop_s or 0.0) + 10.0)
        assert found is not None
        told.append(found.split)
    assert told[0] > 0.2 > 0.02 > told[1]


def test_in_voice_responses_with_neither_crowd_nor_mark_tell_less_over_by_over() -> None:
    counted = responses(overs(6), [], DX_HZ, "usb")
    assert counted.alone
    assert not responses(overs(6), [], DX_HZ, "cw").alone
    few = replace(counted, responses=6, places=3)
    assert split_probability(few) < 0.5 < split_probability(replace(few, alone=False))
    early = replace(few, overs=3, responses=3)
    assert split_probability(early) == split_probability(replace(early, alone=False))
