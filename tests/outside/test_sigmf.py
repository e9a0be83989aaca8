"""Recordings against the SigMF specification, by its own library (PyPI `sigmf`: schema, checksum, sample count)."""

from pathlib import Path

import numpy as np
import pytest
import sigmf
from sigmf import sigmffile
from sigmf.validate import validate

from hearmark.simulate import recording, render
from hearmark.simulate.session import Contact, Scenario, Session, Station, Transmission


@pytest.mark.parametrize("datatype", ["cf32_le", "ci16_le"])
def test_the_library_accepts_and_reads_a_recording(tmp_path: Path, datatype: recording.DataType) -> None:
    scenario = Scenario("cw", 7e6, 7.001e6, 7.004e6, "stay", 1, 0.0, 10.0, "flat", 3.0, seed=3)
    keys = np.array([[0.0, 0.15], [0.2, 0.25]])
    sent = Transmission(0, 0.5, 0.75, 7e6, "TEST 7Q7XYZ", "cq", keys)
    contact = Contact(0, "K1ABC", 7.001e6, 1.0, ((1.5, 2.0),), True)
    session = Session(scenario, (Station(0, "7Q7XYZ", 15.0, 25.0, "s01", 0),), (sent,), (contact,))
    path = recording.write(session, tmp_path / "r", 24_000, datatype=datatype)
    read = sigmffile.fromfile(str(path))  # checks the checksum
    validate(read._metadata)
    assert read.sample_count == 3 * 24_000
    samples = read.read_samples()
    assert np.abs(samples - render.render(session, 24_000, 7.002e6)).max() < 2 / 32_767
    info = read.get_global_info()
    assert info[sigmf.VERSION_KEY] == sigmf.__specification__
    # Specification, "Extension Namespaces": every namespace in use is declared in core:extensions.
    used = {key.split(":")[0] for part in (info, *read.get_annotations(), *read.get_captures()) for key in part}
    assert used == {"core", *(extension["name"] for extension in info[sigmf.EXTENSIONS_KEY])}
    note = read.get_annotations()[0]
    assert (note[sigmf.SAMPLE_START_KEY], note[sigmf.SAMPLE_COUNT_KEY]) == (12_000, 6_000)
    assert note[sigmf.FREQ_LOWER_EDGE_KEY] < 7e6 < note[sigmf.FREQ_UPPER_EDGE_KEY]
