"""Does a played pile-up keep the rules that a pile-up keeps?"""

from collections import defaultdict
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.simulate import people, scenario
from hearmark.simulate.session import Habit, Scenario, Session, Transmission


@lru_cache(maxsize=64)
def played(which: Scenario) -> tuple[Session, frozenset[int]]:
    pileup = people.Pileup(which)
    pileup.advance(which.duration_s)
    return pileup.session(), pileup.undisciplined


def several() -> list[Scenario]:
    modes: tuple[Mode, ...] = ("cw", "usb", "lsb")
    listed = [scenario.varied(mode, seed, 150.0) for mode in modes for seed in range(6)]
    listed += [scenario.preset("brutal", mode, 1, duration_s=120.0) for mode in modes[:2]]
    return [*listed, scenario.simplex("cw", 1, 120.0), scenario.simplex("usb", 2, 120.0)]


def together_s(one: Transmission, other: Transmission) -> float:
    return max(0.0, min(one.stop_s, other.stop_s) - max(one.start_s, other.start_s))


def test_same_scenario_same_session() -> None:
    which = scenario.preset("hard", "cw", 5, duration_s=60.0)
    first, second = people.play(which), people.play(which)
    assert first.contacts == second.contacts
    assert len(first.transmissions) == len(second.transmissions)
    for one, other in zip(first.transmissions, second.transmissions, strict=True):
        assert replace(one, keying_s=None) == replace(other, keying_s=None)
        assert one.keying_s is not None
        assert other.keying_s is not None
        np.testing.assert_array_equal(one.keying_s, other.keying_s)


def test_keying_and_step_size_change_nothing_else() -> None:
    which = scenario.preset("hard", "cw", 6, duration_s=60.0)
    whole = people.play(which, keyed=True)
    pileup = people.Pileup(which)
    for step in range(1, 601):
        pileup.advance(step / 10.0)
    bare = [replace(one, keying_s=None) for one in whole.transmissions]
    assert bare == list(pileup.session().transmissions)


def test_another_seed_is_another_session() -> None:
    calls = {
        people.play(scenario.preset("easy", "cw", seed, duration_s=60.0), keyed=False).contacts for seed in range(4)
    }
    assert len(calls) == 4


@pytest.mark.parametrize("which", several(), ids=lambda which: f"{which.name} {which.mode} {which.seed}")
def test_nobody_talks_over_himself(which: Scenario) -> None:
    session, _ = played(which)
    last: dict[int, float] = defaultdict(lambda: -1.0)
    for sent in session.transmissions:
        assert sent.stop_s > sent.start_s
        assert sent.start_s >= last[sent.station] - 1e-9
        last[sent.station] = sent.stop_s


@pytest.mark.parametrize("which", several(), ids=lambda which: f"{which.name} {which.mode} {which.seed}")
def test_contacts_are_what_was_sent(which: Scenario) -> None:
    session, _ = played(which)
    assert session.contacts
    overs = [sent for sent in session.transmissions if sent.station == 0]
    replies = {(sent.station, sent.start_s): sent for sent in session.transmissions if sent.role == "reply"}
    for contact in session.contacts:
        answer = next(over for over in overs if over.start_s == contact.answered_at_s)
        assert answer.role == "answer"
        assert session.stations[contact.station].call == contact.call
        for start_s, stop_s in contact.reports:
            sent = replies.pop((contact.station, start_s))
            assert sent.stop_s == stop_s
            assert sent.frequency_hz == pytest.approx(contact.frequency_hz, abs=0.1)
            before = [over for over in overs if over.start_s < start_s][-1]
            assert before.role in ("answer", "again")
            assert -0.5 < start_s - before.stop_s < 6.0
        if contact.completed:
            assert contact.reports
            after = (over.role for over in overs if over.start_s > contact.reports[-1][0])
            assert next(role for role in after if role != "again") == "confirm"
    assert not replies, "every reply belongs to a contact"


@pytest.mark.parametrize("which", several(), ids=lambda which: f"{which.name} {which.mode} {which.seed}")
def test_the_disciplined_are_silent_during_the_reply_of_another(which: Scenario) -> None:
    session, undisciplined = played(which)
    overs = [sent for sent in session.transmissions if sent.station == 0]
    reply_s = over_it_s = 0.0
    for reply in (sent for sent in session.transmissions if sent.role == "reply"):
        before = [over for over in overs if over.start_s < reply.start_s][-1]
        if before.role == "again" or "?" in before.text or which.mode != "cw":
            continue  # a call asked for in part may be answered by several in good faith
        reply_s += reply.stop_s - reply.start_s
        over_it_s += sum(
            together_s(reply, other)
            for other in session.transmissions
            if other.role == "call" and other.station != reply.station and other.station not in undisciplined
        )
    assert over_it_s <= 0.05 * reply_s


def test_the_undisciplined_do_call_during_replies() -> None:
    session, undisciplined = played(scenario.preset("brutal", "cw", 1, duration_s=120.0))
    counts = []
    for reply in (sent for sent in session.transmissions if sent.role == "reply"):
        over_it = {
            sent.station
            for sent in session.transmissions
            if together_s(reply, sent) > 0 and sent.station in undisciplined
        }
        counts.append(len(over_it))
    assert 15 <= np.median(counts) <= 40
    assert len(undisciplined) / (len(session.stations) - 1) == pytest.approx(0.35, abs=0.02)


def places(habit: Habit, seeds: int = 6) -> list[np.ndarray]:
    """Completed contacts' places in the window, 0 to 1, one array a session."""
    found = []
    for seed in range(seeds):
        which = replace(
            scenario.preset("hard", "cw", seed, habit, 400.0),
            window_high_hz=14_034_000.0,
            callers=150,
            undisciplined=0.0,
        )
        session, _ = played(which)
        width_hz = which.window_high_hz - which.window_low_hz
        found.append(
            np.array([(one.frequency_hz - which.window_low_hz) / width_hz for one in session.contacts if one.completed])
        )
    return found


def test_habits_are_as_named() -> None:
    def moved(habit: Habit) -> float:
        return float(np.median([np.median(np.abs(np.diff(place))) for place in places(habit)]))

    stay, wander, jump = moved("stay"), moved("wander"), moved("jump")
    assert stay < 0.03
    assert wander < 0.4 * jump
    reached = [float(np.median([np.ptp(place) for place in places(habit)])) for habit in ("stay", "wander", "jump")]
    assert reached[0] < 0.6 * reached[1] < 0.6 * reached[2]
    assert max(float(np.std(place)) for place in places("stay")) < 0.08
    assert np.median([np.ptp(place) for place in places("jump")]) > 0.6


def test_steps_go_one_way() -> None:
    shares = []
    for place in places("step"):
        steps = np.diff(place)
        steps = steps[(np.abs(steps) > 0.03) & (np.abs(steps) < 0.5)]
        shares.append(max(np.mean(steps > 0), np.mean(steps < 0)))
    assert np.median(shares) > 0.75


def test_two_spots_are_two() -> None:
    for place in places("two spots"):
        middle = (place.min() + place.max()) / 2
        low, high = place[place < middle], place[place >= middle]
        assert len(low) >= 3
        assert len(high) >= 3
        assert max(np.median(np.abs(low - np.median(low))), np.median(np.abs(high - np.median(high)))) < 0.04


def test_nobody_is_shut_out_for_long() -> None:
    """A DX who takes only one figure or one part of the world, and hears none of them, asks all again."""
    limited = 0
    for seed in range(1000, 1030):
        which = scenario.varied("lsb", seed)
        session, _ = played(which)
        vain = longest = 0
        for over in (sent for sent in session.transmissions if sent.station == 0):
            vain = vain + 1 if over.role == "cq" and " only" in over.text else 0
            longest = max(longest, vain)
            limited += " only" in over.text and over.role == "confirm"
        assert longest <= 3
    assert limited


def test_picks_lie_near_the_receiver() -> None:
    which = scenario.preset("hard", "cw", 3, duration_s=200.0)
    session, _ = played(which)
    tuned = np.array(session.listening_hz)
    for contact in session.contacts:
        where = tuned[np.searchsorted(tuned[:, 0], contact.answered_at_s, side="right") - 1, 1]
        assert abs(where - contact.frequency_hz) <= 400.0
        assert which.window_low_hz <= where <= which.window_high_hz


def test_callers_keep_to_round_figures_in_voice() -> None:
    session, _ = played(scenario.preset("hard", "usb", 2, duration_s=120.0))
    first: dict[int, float] = {}
    for sent in session.transmissions:
        if sent.role == "call":
            first.setdefault(sent.station, sent.frequency_hz)
    share = np.mean([frequency % 500 == 0 for frequency in first.values()])
    assert share > 0.4


def test_simplex_stays_on_one_frequency() -> None:
    which = scenario.simplex("cw", 1, 120.0)
    session, _ = played(which)
    assert which.window_low_hz == which.window_high_hz == which.dx_hz
    assert all(abs(sent.frequency_hz - which.dx_hz) <= 400.0 for sent in session.transmissions)
    assert any(contact.completed for contact in session.contacts)


def join(which: Scenario, offset_hz: float, until_s: float) -> people.Pileup:
    """Our station calls in every turn, `offset_hz` from where the DX listens, and replies when it is answered."""
    pileup = people.Pileup(which)
    now_s, free_s = 0.0, 0.0
    while now_s < until_s and not pileup.worked:
        for sent in pileup.advance(now_s):
            if sent.station != 0:
                continue
            if sent.role in ("cq", "confirm"):
                start_s = max(sent.stop_s + 0.6, now_s + 0.01, free_s)
                pileup.call(start_s, pileup.receive_hz + offset_hz, 25.0, "T9TST", start_s + 2.0)
                free_s = start_s + 2.0
            elif pileup.answering == "T9TST":
                start_s = max(sent.stop_s + 0.3, now_s + 0.01, free_s)
                pileup.reply(start_s, start_s + 1.5, pileup.receive_hz + offset_hz)
                free_s = start_s + 1.5
        now_s += 0.05
    return pileup


def test_our_station_is_worked_where_he_listens() -> None:
    worked = 0
    for seed in range(5):
        pileup = join(scenario.preset("easy", "cw", seed, "stay"), 0.0, 240.0)
        worked += pileup.worked
        if pileup.worked:
            contact = next(one for one in pileup.session().contacts if one.call == "T9TST")
            assert contact.completed
            assert contact.station == len(pileup.stations) - 1
            assert pileup.worked_at_s is not None
            assert all(sent.station < contact.station for sent in pileup.session().transmissions)
    assert worked >= 4


def test_our_station_is_not_worked_where_he_does_not_listen() -> None:
    for seed in range(3):
        assert not join(scenario.preset("hard", "cw", seed, "stay", 120.0), 20_000.0, 120.0).worked


def test_advance_returns_every_transmission_and_its_cuts() -> None:
    which = scenario.preset("hard", "cw", 4, duration_s=60.0)
    pileup = people.Pileup(which)
    newest: dict[tuple[int, float], Transmission] = {}
    for step in range(1, 121):
        for sent in pileup.advance(step / 2.0):
            known = newest.get((sent.station, sent.start_s))
            if known is not None:
                assert known.text.startswith(sent.text)
                assert known.stop_s >= sent.stop_s > (step - 1) / 2.0
            newest[sent.station, sent.start_s] = sent
    assert sorted(newest.values(), key=lambda one: (one.start_s, one.station)) == list(pileup.session().transmissions)


def test_our_call_on_his_frequency_is_shouted_at() -> None:
    shouted = []
    for seed in range(4):
        for where_hz in (0.0, 3000.0):
            which = replace(scenario.preset("hard", "cw", seed, "stay", 60.0), undisciplined=0.0, callers=120)
            pileup = people.Pileup(which)
            pileup.advance(5.0)
            pileup.call(5.0, which.dx_hz + where_hz, 20.0, "T9TST", 7.0)
            others = [one for one in pileup.advance(10.0) if one.role == "other" and one.station]
            shouted.append(sum(abs(one.frequency_hz - which.dx_hz) < 100.0 for one in others))
    assert all(count > 0 for count in shouted[::2])
    assert sum(shouted[1::2]) < sum(shouted[::2]) / 4


def test_his_speed_and_his_words_can_be_set() -> None:
    which = replace(scenario.preset("easy", "cw", 3, "stay", 60.0), morse_wpm=13.0, announces=0.7, sloppiness=0.0)
    session = people.play(which)
    assert session.stations[0].speed_wpm == 13.0
    assert all(station.speed_wpm == pytest.approx(13.0, abs=0.1) for station in session.stations[1:])
    away_khz = round((which.window_low_hz - which.dx_hz) / 1000.0)
    overs = [sent for sent in session.transmissions if sent.role in ("cq", "confirm")]
    assert overs
    assert all(f"UP {away_khz}" in sent.text for sent in overs)


def test_real_speech_lengths_are_used() -> None:
    class Slow:
        def speech_s(self, text: str, voice: str) -> float:
            assert voice
            return 1.0 * len(text.split())

    session = people.play(scenario.preset("easy", "usb", 1, duration_s=60.0), Slow())
    for sent in session.transmissions:
        assert sent.stop_s - sent.start_s == pytest.approx(len(sent.text.split()), abs=1e-6)


def test_bad_input_is_told() -> None:
    which = scenario.preset("easy", "cw", 1)
    with pytest.raises(HearmarkError, match="give at least 1"):
        people.play(replace(which, callers=0))
    with pytest.raises(HearmarkError, match="lower end first"):
        people.play(replace(which, window_low_hz=which.window_high_hz + 1.0))
    with pytest.raises(HearmarkError, match="from 0 to 1"):
        people.play(replace(which, undisciplined=2.0))
    pileup = people.Pileup(which)
    pileup.advance(10.0)
    with pytest.raises(HearmarkError, match="cannot go back"):
        pileup.advance(9.0)
    with pytest.raises(HearmarkError, match="lies before now"):
        pileup.call(5.0, 14_025_000.0, 10.0, "T9TST", 7.0)
    with pytest.raises(HearmarkError, match="has not called yet"):
        pileup.reply(11.0, 12.0, 14_025_000.0)
