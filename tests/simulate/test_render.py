from itertools import pairwise

import numpy as np
import pytest

from hearmark.errors import HearmarkError
from hearmark.events import Block, Gap
from hearmark.simulate import render, static
from hearmark.simulate.emitter import Emitter, emitter, keyed_envelope
from hearmark.simulate.faults import Faults
from hearmark.simulate.session import Mode, Scenario, Session, Station, Transmission

DX_HZ = 14_023_000.0


def scenario(mode: Mode = "cw", **changes: object) -> Scenario:
    fields: dict[str, object] = {
        "mode": mode, "dx_hz": DX_HZ, "window_low_hz": DX_HZ + 1000, "window_high_hz": DX_HZ + 4000,
        "habit": "stay", "callers": 4, "undisciplined": 0.0, "median_snr_db": 10.0, "channel": "mid moderate",
        "duration_s": 4.0, "seed": 9,
    }  # fmt: skip
    return Scenario(**(fields | changes))  # type: ignore[arg-type]


def pile_up(mode: Mode = "cw", **changes: object) -> Session:
    rng = np.random.default_rng(4)
    stations = tuple(Station(n, f"K{n}ABC", 20.0, 25.0, f"s{n + 1:02d}", n) for n in range(5))
    keys = np.array([[0.1 * k, 0.1 * k + 0.05] for k in range(15)]) if mode == "cw" else None
    sent = [
        Transmission(n % 5, start, start + 1.5, DX_HZ + rng.uniform(0, 5000), "K1ABC", "call", keys)
        for n, start in enumerate(np.sort(rng.uniform(0, 3, 12)))
    ]
    return Session(scenario(mode, **changes), stations, tuple(sent), ())


def one_tone(offset_hz: float, snr_db: float = 30.0, **changes: object) -> Session:
    sent = Transmission(0, 0.0, 4.0, DX_HZ + offset_hz, "", "other", np.array([[0.0, 4.0]]))
    return Session(scenario(channel="flat", **changes), (Station(0, "7Q7XYZ", snr_db, 25.0, "s01", 0),), (sent,), ())


def line_hz(samples: np.ndarray, rate_hz: float) -> float:
    """Frequency of the strongest line, by a parabola over the transform's logarithm."""
    size = 1 << 17
    power = np.log(np.abs(np.fft.fft(samples * np.hanning(len(samples)), size)))
    k = int(np.argmax(power))
    a, b, c = power[k - 1], power[k], power[(k + 1) % size]
    at = (k + 0.5 * (a - c) / (a - 2 * b + c)) / size
    return (at - round(at)) * rate_hz


@pytest.mark.parametrize("mode", ["cw", "usb"])
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_stream_whole_and_part_are_the_same_samples(mode: Mode, rate_hz: int) -> None:
    session = pile_up(mode, impulses_per_s=5.0, carriers=2)
    whole = render.render(session, rate_hz, DX_HZ + 2000)
    assert len(whole) == 4 * rate_hz
    for block_s in (0.013, 0.1, 1.7):
        streamed = list(render.blocks(session, rate_hz, DX_HZ + 2000, block_s))
        assert np.array_equal(np.concatenate([block.samples for block in streamed]), whole)
        assert [b.first_sample for b in streamed[1:]] == list(np.cumsum([len(b.samples) for b in streamed])[:-1])
    part = render.render(session, rate_hz, DX_HZ + 2000, 1.234, 2.5)
    assert np.array_equal(part, whole[round(1.234 * rate_hz) : round(2.5 * rate_hz)])


def test_another_seed_is_another_session() -> None:
    assert not np.allclose(
        render.render(pile_up(seed=1), 12_000, DX_HZ), render.render(pile_up(seed=2), 12_000, DX_HZ), atol=1e-4
    )


@pytest.mark.parametrize("rate_hz", [12_000, 44_100, 48_000, 192_000, 37_037])
@pytest.mark.parametrize("offset_hz", [-4321.7, 0.0, 3210.9])
def test_carrier_lies_where_it_is_sent(rate_hz: int, offset_hz: float) -> None:
    session = one_tone(offset_hz)
    heard = render.render(session, rate_hz, DX_HZ + 500, 0.5, 2.5, noise=False)
    own = emitter(9, 0, 0)
    expected_hz = offset_hz - 500 + own.offset_hz + own.drift_hz_per_s * 1.5
    assert line_hz(heard, rate_hz) == pytest.approx(expected_hz, abs=0.2)


def test_carrier_is_continuous_from_frame_to_frame() -> None:
    heard = render.render(one_tone(1234.5), 48_000, DX_HZ, 0.5, 3.5, noise=False)
    turns = np.angle(heard[1:] * heard[:-1].conj())
    assert np.ptp(turns) < 1e-3
    assert np.ptp(np.abs(heard)) < 1e-3 * np.abs(heard).mean()


def test_station_beyond_the_band_is_not_folded_in() -> None:
    heard = render.render(one_tone(7000.0, 40.0), 12_000, DX_HZ, noise=False)
    assert np.mean(np.abs(heard) ** 2) < 1e-4 * static.NOISE_POWER * 10**4


def test_fading_goes_on_between_transmissions() -> None:
    keys = np.array([[0.0, 0.5]])
    stations = (Station(0, "7Q7XYZ", 20.0, 25.0, "s01", 0),)
    fields = {"channel": "mid disturbed", "duration_s": 3.0}
    both = [Transmission(0, s, s + 0.5, DX_HZ, "", "cq", keys) for s in (0.5, 1.5)]
    together = render.render(Session(scenario(**fields), stations, tuple(both), ()), 4000, DX_HZ, noise=False)
    alone = render.render(Session(scenario(**fields), stations, (both[1],), ()), 4000, DX_HZ, noise=False)
    assert np.allclose(together[5600:], alone[5600:], atol=1e-7)


def test_keying_edges_fall_on_the_key_times_and_last_the_rise_time() -> None:
    rate_hz = 4000.0
    own = Emitter(rise_s=0.006)
    envelope = np.abs(keyed_envelope(np.array([[0.1, 0.3]]), 0.0, 0.5, own, rate_hz))
    t = np.arange(len(envelope)) / rate_hz
    on = t[envelope >= 0.4999 * envelope.max()]
    assert (on[0], on[-1]) == pytest.approx((0.1, 0.3), abs=1.1 / rate_hz)
    rising = t[(envelope > 1e-4) & (envelope < 0.9999 * envelope.max()) & (t < 0.2)]
    assert rising[-1] - rising[0] == pytest.approx(0.006, abs=3 / rate_hz)
    assert np.sum(envelope**2) / rate_hz == pytest.approx(0.2, rel=0.01)


def test_emitters_keep_to_their_ranges() -> None:
    all_of_them = [emitter(1, n, n) for n in range(400)]
    clicks = np.mean([e.rise_s < 0.003 for e in all_of_them])
    assert 0.03 < clicks < 0.15
    assert all(0.001 <= e.rise_s <= 0.008 and abs(e.offset_hz) <= 5 and abs(e.chirp_hz) <= 12 for e in all_of_them)
    assert emitter(1, 3, 3) == all_of_them[3]


def test_receiver_faults_have_the_stated_size() -> None:
    session = one_tone(3000.0, 40.0)
    clean = render.render(session, 48_000, DX_HZ, 0.5, 3.5, noise=False)
    faulty = render.render(session, 48_000, DX_HZ, 0.5, 3.5, Faults(0.01 + 0.02j, 0.5, 2.0), noise=False)
    assert np.mean(faulty) == pytest.approx(0.01 + 0.02j, abs=1e-3)
    image = np.vdot(clean.conj(), faulty) / np.vdot(clean, clean).real
    # Image rejection of gain g and phase p: |1 - g e^jp|^2 / |1 + g e^jp|^2.
    branch = 10 ** (0.5 / 20) * np.exp(1j * np.radians(2.0))
    assert abs(image) == pytest.approx(abs(1 - branch) / 2, rel=0.05)
    clipped = render.render(session, 48_000, DX_HZ, faults=Faults(clip_at=0.05))
    assert max(np.abs(clipped.real).max(), np.abs(clipped.imag).max()) == pytest.approx(0.05, rel=1e-5)


def test_a_fast_clock_reads_low() -> None:
    heard = render.render(one_tone(1000.0), 48_000, DX_HZ, 0.5, 2.5, Faults(clock_ppm=2.0), noise=False)
    own = emitter(9, 0, 0)
    expected_hz = 1000 + own.offset_hz + own.drift_hz_per_s * 1.5 - 2e-6 * DX_HZ
    assert line_hz(heard, 48_000) == pytest.approx(expected_hz, abs=0.2)


def test_dropped_blocks_are_zero_in_a_whole_and_gaps_in_a_stream() -> None:
    session, faults = pile_up(duration_s=10.0), Faults(dropped_per_min=60.0)
    source = render.SimulatedSource(session, 12_000, DX_HZ, faults)
    events = list(source.events())
    whole = render.render(session, 12_000, DX_HZ, faults=faults)
    gaps = [event for event in events if isinstance(event, Gap)]
    assert gaps
    assert events[-1].stop_s == pytest.approx(10.0)
    for before, after in pairwise(events):
        assert after.start_s == pytest.approx(before.stop_s)
    for event in events:
        piece = whole[round(event.start_s * 12_000) : round(event.stop_s * 12_000)]
        if isinstance(event, Block):
            assert np.array_equal(event.samples, piece)
            assert np.all(piece != 0)
        else:
            assert np.any(piece == 0)


def test_static_raises_the_peaks_at_the_stated_rate() -> None:
    quiet = render.render(pile_up(channel="flat"), 48_000, DX_HZ + 9000)
    crackling = render.render(pile_up(channel="flat", impulses_per_s=10.0), 48_000, DX_HZ + 9000)
    bursts = np.abs(crackling - quiet) > 0
    starts = np.count_nonzero(bursts[1:] & ~bursts[:-1])
    assert 20 <= starts <= 45  # 40 on the average, fewer where they run together
    assert np.abs(crackling).max() > 3 * np.abs(quiet).max()


@pytest.mark.parametrize(
    ("rate_hz", "mode", "says"),
    [(48_000.5, "cw", "whole hertz"), (500, "cw", "1000 to 20000000"), (48_000, "nowhere", "choose one of: flat")],
)
def test_bad_input_says_what_to_do(rate_hz: float, mode: str, says: str) -> None:
    session = pile_up(channel="nowhere") if mode == "nowhere" else pile_up()
    with pytest.raises(HearmarkError, match=says):
        render.render(session, rate_hz, DX_HZ)


def test_morse_without_key_times_is_refused() -> None:
    sent = Transmission(0, 0.0, 1.0, DX_HZ, "TEST", "cq")
    session = Session(scenario(), (Station(0, "7Q7XYZ", 10.0, 25.0, "s01", 0),), (sent,), ())
    with pytest.raises(HearmarkError, match="no key times"):
        render.render(session, 12_000, DX_HZ)
