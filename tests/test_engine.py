"""The whole engine on one short pile-up: one recording, one exact transcript of events, whatever the blocks."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

import numpy as np
import pytest

from hearmark.engine import Engine, EngineConfig
from hearmark.events import (
    Advice,
    Answer,
    Block,
    Dial,
    Ear,
    Emission,
    Event,
    Gap,
    KeyState,
    Note,
    Over,
    OwnCall,
    Plan,
    RadioState,
    Row,
)  # fmt: skip
from hearmark.marks import settled
from hearmark.simulate.keying import CODES
from hearmark.simulate.people import play
from hearmark.simulate.render import Renderer
from hearmark.simulate.scenario import preset
from hearmark.simulate.session import Contact, Session

RATE = 12_000
SECONDS = 40.0


@pytest.fixture(scope="module")
def session() -> Session:
    """An easy pile-up in Morse, 40 s, with one contact completed by then."""
    return play(replace(preset("easy", "cw", 11, None, SECONDS), name="test"), None)


@pytest.fixture(scope="module")
def center_hz(session: Session) -> float:
    return session.scenario.dx_hz + 1_700.0


@pytest.fixture(scope="module")
def samples(session: Session, center_hz: float) -> np.ndarray:
    return Renderer(session, RATE, center_hz).samples(0, round(SECONDS * RATE))


@pytest.fixture(scope="module")
def config(session: Session) -> EngineConfig:
    scenario = session.scenario
    return EngineConfig(scenario.dx_hz, "cw", scenario.window_low_hz, scenario.window_high_hz)


def blocks(samples: np.ndarray, center_hz: float, sizes: Iterable[int]) -> Iterator[Block]:
    """The samples in blocks of these sizes, over and over."""
    first, turn = 0, list(sizes)
    k = 0
    while first < len(samples):
        part = samples[first : first + turn[k % len(turn)]]
        yield Block(first, RATE, center_hz, part)
        first, k = first + len(part), k + 1


def told(config: EngineConfig, events: Iterable[Event]) -> list[Event]:
    """Everything that an engine says, in order."""
    engine = Engine(config)
    out = [new for event in events for new in engine.feed(event)]
    return out + engine.finish()


def transcript(events: Iterable[Event]) -> list[str]:
    """Events as exact text: every field, every bit of every array."""
    return [_line(event) for event in events]


def _line(event: Event) -> str:
    if isinstance(event, Row):
        return f"Row {event.time_s!r} {event.low_hz!r} {event.step_hz!r} {event.power_db.tobytes().hex()}"
    if isinstance(event, Ear):
        arrays = event.frequency_hz.tobytes().hex() + event.density_per_hz.tobytes().hex()
        return f"Ear {event.time_s!r} {event.habit} {event.habit_weights!r} {arrays}"
    return repr(event)


@pytest.fixture(scope="module")
def whole(config: EngineConfig, samples: np.ndarray, center_hz: float) -> list[Event]:
    """What is said when the stream comes in blocks of a tenth of a second."""
    return told(config, blocks(samples, center_hz, [RATE // 10]))


def newest(events: Iterable[Event], kind: type) -> list:
    return list({event.id: event for event in events if isinstance(event, kind)}.values())


def near(answers: Iterable[Answer], contact: Contact) -> list[Answer]:
    """Marks that are right about this contact: within 50 Hz and 2 s."""
    begin_s = contact.reports[0][0]
    return [
        a for a in answers
        if abs(a.frequency_hz - contact.frequency_hz) < 50.0 and abs(a.start_s - begin_s) < 2.0
    ]  # fmt: skip


def test_it_finds_the_answered_station(whole: list[Event], session: Session) -> None:
    contact = next(c for c in session.contacts if c.completed)
    answers = settled((e for e in whole if isinstance(e, Answer)), "cw")
    (mark,) = near(answers, contact)
    assert mark.confidence > 0.5
    assert mark.retracted_at_s is None
    assert mark.marked_at_s < contact.reports[-1][1]
    # he fades slowly, so his replies are heard at different levels: on average they are within 8 dB
    heard_db = [a.snr_db for a in answers if abs(a.frequency_hz - contact.frequency_hz) < 50.0 and a.snr_db is not None]
    assert np.mean(heard_db) == pytest.approx(session.stations[contact.station].snr_db, abs=8.0)
    for sure in (a for a in answers if a.confidence >= 0.5):
        assert min(abs(sure.frequency_hz - c.frequency_hz) for c in session.contacts) < 50.0


def test_it_follows_the_overs_and_reads_them(whole: list[Event], session: Session) -> None:
    true = [sent for sent in session.transmissions if sent.station == 0 and sent.stop_s < SECONDS - 1.0]
    overs = newest(whole, Over)
    for sent in true:
        (over,) = [o for o in overs if abs(o.stop_s - sent.stop_s) < 0.3]
        least_s = 0.3 if sent is not true[0] else 1.3  # how loud he is has yet to be learnt
        assert over.start_s == pytest.approx(sent.start_s, abs=least_s), sent.text
    words = {word for sent in true for word in sent.text.split()}
    read = {word for over in overs for word in over.text.split()}
    assert len(words & read) >= 0.8 * len(words)


def test_every_station_is_copied_with_its_call_speed_and_carrier(whole: list[Event], session: Session) -> None:
    """Transmissions of callers whom nobody covers, long enough to be told from a click."""
    emissions = [e for e in newest(whole, Emission) if e.stop_s is None or e.stop_s > e.start_s]
    right = total = 0
    for sent in session.transmissions:
        station = session.stations[sent.station]
        alone = not [
            o for o in session.transmissions
            if o is not sent and abs(o.frequency_hz - sent.frequency_hz) < 100.0
            and o.start_s < sent.stop_s + 1.5 and o.stop_s > sent.start_s - 1.5
        ]  # fmt: skip
        if sent.station == 0 or not alone or station.snr_db < 5.0 or station.call not in sent.text.split():
            continue
        total += 1
        there = [e for e in emissions if abs(e.frequency_hz - sent.frequency_hz) < 15.0 and e.start_s < sent.stop_s]
        there = [e for e in there if e.stop_s is None or e.stop_s > sent.start_s]
        for e in there:
            assert len(e.sure) == len(e.text)
            assert e.calls == tuple(sorted(e.calls, key=lambda c: -c.probability))
        named = [e for e in there if e.call == station.call]
        right += bool(named)
        for e in named:
            assert e.frequency_hz == pytest.approx(sent.frequency_hz, abs=8.0)
            assert e.speed_wpm == pytest.approx(station.speed_wpm, rel=0.3)
    assert total >= 4
    assert right >= 0.75 * total


def test_a_transmission_is_told_while_it_goes_on_and_its_text_only_grows(whole: list[Event]) -> None:
    running = [e for e in whole if isinstance(e, Emission) and e.stop_s is None and e.text]
    assert running
    first, last = running[0], [e for e in whole if isinstance(e, Emission) and e.id == running[0].id][-1]
    assert last.stop_s is not None
    assert len(last.text) >= len(first.text)


def answer_s(session: Session, call: str) -> float:
    """When the DX has sent the last letter of this call for the first time."""
    sent = next(s for s in session.transmissions if s.station == 0 and call in s.text.split())
    before = sent.text[: sent.text.index(call) + len(call)].replace(" ", "")
    marks = sum(len(CODES[letter]) for letter in before)
    assert sent.keying_s is not None
    return sent.start_s + float(sent.keying_s[marks - 1, 1])


def test_our_own_call_is_told_within_half_a_second(
    config: EngineConfig, samples: np.ndarray, center_hz: float, session: Session
) -> None:
    call = next(c for c in session.contacts if c.completed).call
    events = told(replace(config, own_call=call), blocks(samples, center_hz, [RATE // 10]))
    whole_ones = [e for e in events if isinstance(e, OwnCall) and e.kind == "whole"]
    due_s = answer_s(session, call)
    first = whole_ones[0]
    assert due_s < first.time_s < due_s + 0.5
    assert first.probability > 0.9
    cues = [(e.time_s, e.cue, e.why) for e in events if isinstance(e, Advice)]
    you = next(c for c in cues if c[1] == "you")
    assert you[0] < due_s + 0.5
    assert "he sent your call" in you[2]
    others = {sent.text for sent in session.transmissions if sent.station == 0 and call not in sent.text}
    assert others
    assert len({e.id for e in whole_ones}) == sum(
        sent.text.split().count(call) for sent in session.transmissions if sent.station == 0 and sent.stop_s < SECONDS
    )


@pytest.mark.parametrize(
    ("change", "kind"), [(lambda c: c[:-1] + ("X" if c[-1] != "X" else "Y"), "near"), (lambda c: "ZZ9" + c[-1], None)]
)
def test_a_call_like_ours_is_shown_as_what_it_is(
    change: Callable[[str], str], kind: str | None, config: EngineConfig, samples: np.ndarray, center_hz: float,
    session: Session,
) -> None:  # fmt: skip
    call = next(c for c in session.contacts if c.completed).call
    part = (block for block in blocks(samples, center_hz, [RATE // 10]) if block.start_s < answer_s(session, call) + 4)
    heard = [e for e in told(replace(config, own_call=change(call)), part) if isinstance(e, OwnCall)]
    assert {e.kind for e in heard} == ({kind} if kind else set())
    if kind:
        assert heard[-1].heard == call
        assert heard[-1].letters == change(call)[:-1] + "·"
        assert heard[-1].probability < 0.5


def test_plan_first_ear_and_advice_last(whole: list[Event], config: EngineConfig) -> None:
    assert whole[0] == Plan(config.dx_hz, config.window_low_hz, config.window_high_hz, "cw")  # type: ignore[arg-type]
    assert isinstance(whole[-1], Advice)
    ear = [event for event in whole if isinstance(event, Ear)][-1]
    step_hz = ear.frequency_hz[1] - ear.frequency_hz[0]
    assert float(ear.density_per_hz.sum() * step_hz) == pytest.approx(1.0, abs=1e-6)
    assert {"listen", "wait"} & {event.cue for event in whole if isinstance(event, Advice)}


def test_times_never_run_back(whole: list[Event]) -> None:
    times = [event.time_s for event in whole if isinstance(event, Row | Ear | Advice)]
    assert times == sorted(times)


@pytest.mark.parametrize("sizes", [[len("x"), 1, 2, 3_001], [977], [10**9]], ids=["tiny and large", "odd", "whole"])
def test_blocks_of_any_size_give_the_same_transcript(
    sizes: list[int], whole: list[Event], config: EngineConfig, samples: np.ndarray, center_hz: float
) -> None:
    assert transcript(told(config, blocks(samples, center_hz, sizes))) == transcript(whole)


def test_a_replay_of_everything_is_equal(config: EngineConfig, samples: np.ndarray, center_hz: float) -> None:
    """Samples, the radio, notes and the key, with a gap: twice the same, event by event."""

    def stream() -> Iterator[Event]:
        for block in blocks(samples, center_hz, [RATE // 10]):
            at = block.first_sample // (RATE // 10)
            if at == 50:
                yield RadioState(5.0, config.dx_hz, config.dx_hz + 1_500.0, True, "CW")
                yield Note(5.0, "up 1 to 2")
            if at == 120:
                yield KeyState(12.0, True)
            if at == 150:
                yield KeyState(15.0, False)
            if at == 200:
                yield Note(20.0, "mark", config.dx_hz + 1_200.0)
            if 300 <= at < 310:
                continue
            yield block

    assert transcript(told(config, stream())) == transcript(told(config, stream()))


@pytest.mark.parametrize("announced", [True, False], ids=["gap", "hole"])
def test_a_gap_closes_what_was_open_and_hearing_goes_on_after_it(
    announced: bool, config: EngineConfig, samples: np.ndarray, center_hz: float, session: Session
) -> None:
    over = next(s for s in session.transmissions if s.station == 0 and s.stop_s - s.start_s > 2.0 and s.start_s > 4.0)
    cut_s = over.start_s + 1.5

    def stream() -> Iterator[Event]:
        for block in blocks(samples[: 22 * RATE], center_hz, [RATE // 10]):
            if block.stop_s <= cut_s or block.start_s >= cut_s + 4.0:
                yield block
            elif announced and block.start_s <= cut_s:
                yield Gap(block.start_s, block.start_s + 4.0, "dropped")

    events = told(config, stream())
    rows = [event.time_s for event in events if isinstance(event, Row)]
    assert not [t for t in rows if cut_s + 0.1 < t < cut_s + 4.0]
    assert max(rows) > 21.7
    cut_over = next(o for o in newest(events, Over) if o.start_s < cut_s < (o.stop_s or 1e9) + 0.3)
    assert cut_over.stop_s == pytest.approx(cut_s, abs=0.3)
    assert [o for o in newest(events, Over) if o.start_s > cut_s + 4.0]


def test_while_we_send_it_is_deaf(config: EngineConfig, samples: np.ndarray, center_hz: float) -> None:
    engine = Engine(config)
    out: list[Event] = []
    for block in blocks(samples, center_hz, [RATE // 10]):
        if block.first_sample == 6 * RATE:
            out += engine.feed(KeyState(6.0, True))
        if block.first_sample == 9 * RATE:
            out += engine.feed(KeyState(9.0, False))
        if block.start_s < 12.0:
            out += engine.feed(block)
    times = [event.time_s for event in out if isinstance(event, Row)]
    assert not [t for t in times if 6.05 < t < 9.0]
    assert [t for t in times if t > 9.1]


def test_marks_by_the_operator_and_taken_back(config: EngineConfig, samples: np.ndarray, center_hz: float) -> None:
    engine = Engine(config)
    marks: list[Answer] = []
    for block in blocks(samples, center_hz, [RATE // 2]):
        if block.start_s >= 6.0:
            break
        engine.feed(block)
        if block.start_s == 2.0:
            new = engine.feed(Note(2.5, "mark", config.dx_hz + 1_300.0))
            marks += [e for e in new if isinstance(e, Answer)]
            assert any(isinstance(e, Ear) for e in new)
        if block.start_s == 4.0:
            new = engine.feed(Note(4.5, "unmark", answer=marks[0].id))
            marks += [e for e in new if isinstance(e, Answer)]
            assert any(isinstance(e, Ear) for e in new)
    assert [(m.by, m.frequency_hz, m.retracted_at_s) for m in marks] == [
        ("operator", config.dx_hz + 1_300.0, None),
        ("operator", config.dx_hz + 1_300.0, 4.5),
    ]


def test_mode_and_window_are_found_out(
    config: EngineConfig, samples: np.ndarray, center_hz: float, session: Session
) -> None:
    plans = []
    for sizes in ([RATE // 10], [7_013]):
        stream = (b for b in blocks(samples, center_hz, sizes) if b.start_s < 20.0)
        plans.append(next(e for e in told(EngineConfig(config.dx_hz), stream) if isinstance(e, Plan)))
    assert plans[0] == plans[1]
    assert plans[0].mode == "cw"
    scenario = session.scenario
    assert plans[0].listen_low_hz < scenario.window_high_hz
    assert plans[0].listen_high_hz > scenario.window_low_hz
    assert plans[0].listen_high_hz - plans[0].listen_low_hz < 4_000.0


def test_a_stream_shorter_than_the_survey_and_an_empty_one_end_well(
    config: EngineConfig, samples: np.ndarray, center_hz: float
) -> None:
    short = told(EngineConfig(config.dx_hz), blocks(samples[: 2 * RATE], center_hz, [RATE // 10]))
    assert isinstance(short[0], Plan)
    assert isinstance(short[-1], Advice)
    assert told(EngineConfig(config.dx_hz), []) == []


def test_a_band_retuned_away_from_the_dx_is_a_gap(config: EngineConfig, samples: np.ndarray, center_hz: float) -> None:
    stream = [
        replace(block, center_hz=center_hz + (50_000.0 if 5.0 <= block.start_s < 7.0 else 0.0))
        for block in blocks(samples[: 10 * RATE], center_hz, [RATE // 10])
    ]
    times = [event.time_s for event in told(config, stream) if isinstance(event, Row)]
    assert not [t for t in times if 5.05 < t < 7.0]
    assert [t for t in times if t > 7.1]


def test_audio_of_one_receiver_hears_each_slice_in_its_place(config: EngineConfig) -> None:
    """A tone in the audio stands at dial + its pitch, on one grid, wherever the dial is."""
    n = 6 * RATE
    rng = np.random.default_rng(1)
    noise = (rng.standard_normal(n) + 1j * rng.standard_normal(n)).astype(np.complex64)
    tone = (20 * np.exp(2j * np.pi * 700.0 * np.arange(n) / RATE)).astype(np.complex64)
    dial_hz = {0: config.dx_hz - 600.0, 3: config.dx_hz + 1_000.0}
    rows: dict[float, list[Row]] = {}
    engine = Engine(config)
    for second in range(6):
        part = slice(second * RATE, (second + 1) * RATE)
        center = dial_hz[second // 3 * 3]
        engine.feed(Dial(float(second), center))
        block = Block(second * RATE, RATE, center, (noise + tone)[part], audio=True)
        rows.setdefault(center, []).extend(e for e in engine.feed(block) if isinstance(e, Row))
    for center, some in rows.items():
        for row in some[4:]:
            peak_hz = row.low_hz + row.step_hz * int(np.argmax(row.power_db))
            assert peak_hz == pytest.approx(center + 700.0, abs=row.step_hz)
    times = [row.time_s for some in rows.values() for row in some]
    assert np.allclose(np.diff(times), 0.096)
