import json
from pathlib import Path

import numpy as np
import pytest

from hearmark.errors import HearmarkError
from hearmark.events import Block, Gap
from hearmark.simulate import recording, render
from hearmark.simulate.faults import Faults
from hearmark.simulate.session import Contact, Scenario, Session, Station, Transmission
from hearmark.sources.sigmf import SigmfFile

DX_HZ = 14_023_000.0


@pytest.fixture
def session() -> Session:
    scenario = Scenario("cw", DX_HZ, DX_HZ + 1000, DX_HZ + 4000, "step", 2, 0.1, 10.0, "mid quiet", 6.0, seed=3)
    stations = tuple(Station(n, call, 15.0, 28.0, "s01", n) for n, call in enumerate(("7Q7XYZ", "K1ABC", "DL0XYZ")))
    keys = np.array([[0.0, 0.15], [0.2, 0.25], [0.3, 0.45]])
    sent = (
        Transmission(0, 0.5, 1.0, DX_HZ, "K1ABC 5NN", "answer", keys),
        Transmission(1, 1.5, 2.0, DX_HZ + 1400, "5NN TU", "reply", keys),
        Transmission(2, 4.0, 4.5, DX_HZ + 2500, "DL0XYZ", "call", keys),
    )
    contacts = (
        Contact(1, "K1ABC", DX_HZ + 1400, 0.5, ((1.5, 2.0),), True),
        Contact(2, "DL0XYZ", DX_HZ + 2500, 3.0, (), False),
    )
    return Session(scenario, stations, sent, contacts, ((0.0, DX_HZ + 1400), (3.0, DX_HZ + 2000)))


def test_truth_comes_back_as_it_went_in(session: Session, tmp_path: Path) -> None:
    truth = recording.read_truth(recording.write(session, tmp_path / "a", 24_000))
    back = truth.session
    assert (back.scenario, back.stations, back.contacts, back.listening_hz) == (
        session.scenario, session.stations, session.contacts, session.listening_hz,
    )  # fmt: skip
    assert (truth.sample_rate_hz, truth.center_hz) == (24_000, DX_HZ + 2000)
    assert [(t.station, t.start_s, t.text, t.role) for t in back.transmissions] == [
        (t.station, t.start_s, t.text, t.role) for t in session.transmissions
    ]
    keys = back.transmissions[1].keying_s
    assert keys is not None
    assert keys == pytest.approx(np.asarray(session.transmissions[1].keying_s))
    assert [over.text for over in truth.overs] == ["K1ABC 5NN"]


@pytest.mark.parametrize(("datatype", "within"), [("cf32_le", 0.0), ("ci16_le", 1 / 32_000)])
def test_samples_are_those_rendered(
    session: Session, tmp_path: Path, datatype: recording.DataType, within: float
) -> None:
    shares: list[float] = []
    path = recording.write(session, tmp_path / "b", 24_000, DX_HZ, datatype, progress=shares.append)
    blocks = [event for event in SigmfFile(path).events() if isinstance(event, Block)]
    heard = np.concatenate([block.samples for block in blocks])
    assert np.abs(heard - render.render(session, 24_000, DX_HZ)).max() <= within
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_dropped_blocks_are_gaps_and_truth_stays_in_place(session: Session, tmp_path: Path) -> None:
    path = recording.write(session, tmp_path / "c", 24_000, DX_HZ, faults=Faults(dropped_per_min=60.0))
    events = list(SigmfFile(path).events())
    assert any(isinstance(event, Gap) for event in events)
    assert events[-1].stop_s == pytest.approx(6.0, abs=0.3)
    assert recording.read_truth(path).session.transmissions[2].start_s == 4.0
    meta = json.loads(path.read_text())
    note = next(n for n in meta["annotations"] if n.get("hearmark:start_s") == 4.0)
    held = [c for c in meta["captures"] if c["core:sample_start"] <= note["core:sample_start"]][-1]
    in_stream = held["core:global_index"] + note["core:sample_start"] - held["core:sample_start"]
    assert held["core:global_index"] > held["core:sample_start"]
    assert in_stream / 24_000 == pytest.approx(4.0, abs=0.001)


def test_a_blind_recording_carries_no_truth(session: Session, tmp_path: Path) -> None:
    path = recording.write(session, tmp_path / "d", 24_000, truth=False)
    assert "hearmark:" not in path.read_text()
    assert "K1ABC" not in path.read_text()
    with pytest.raises(HearmarkError, match="carries no truth"):
        recording.read_truth(path)


def test_a_failed_write_leaves_nothing_behind(session: Session, tmp_path: Path) -> None:
    def stop(share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        recording.write(session, tmp_path / "e", 24_000, progress=stop)
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(HearmarkError, match="give a folder that exists"):
        recording.write(session, tmp_path / "nowhere" / "f", 24_000)
    with pytest.raises(HearmarkError, match="choose cf32_le or ci16_le"):
        recording.write(session, tmp_path / "g", 24_000, datatype="cu8")  # type: ignore[arg-type]
