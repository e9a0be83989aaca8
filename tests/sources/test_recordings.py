"""Readers of recordings: every format, several captures, damage, and noise in place of a file."""

import contextlib
import hashlib
import json
import struct
import tracemalloc
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from sigmf import SigMFFile, sigmffile

from hearmark.errors import HearmarkError
from hearmark.events import Answer, Block, ComplexArray, Gap
from hearmark.sources.recording import SigmfWriter, open_recording
from hearmark.sources.samples import sample_format
from hearmark.sources.sigmf import SigmfFile
from hearmark.sources.source import Source
from hearmark.sources.wav import IqWav

RATE_HZ = 8_000
RNG = np.random.default_rng(11)
IQ = (RNG.uniform(-0.9, 0.9, 9_000) + 1j * RNG.uniform(-0.9, 0.9, 9_000)).astype(np.complex64)
PARTS = IQ.view(np.float32)
CODES = {
    "cf32_le": PARTS.astype("<f4"),
    "cf32_be": PARTS.astype(">f4"),
    "cf64_le": PARTS.astype("<f8"),
    "ci16_le": np.rint(PARTS * 32768).astype("<i2"),
    "ci16_be": np.rint(PARTS * 32768).astype(">i2"),
    "ci32_le": np.rint(PARTS.astype("f8") * 2**31).astype("<i4"),
    "ci8": np.rint(PARTS * 128).astype("i1"),
    "cu8": np.rint(PARTS * 128 + 127.5).astype("u1"),
}


def write_sigmf(folder: Path, name: str = "cf32_le", data: bytes | None = None, **changes: Any) -> Path:
    meta = {
        "global": {"core:datatype": name, "core:version": "1.0.0", "core:sample_rate": RATE_HZ},
        "captures": [{"core:sample_start": 0, "core:frequency": 7e6}],
        "annotations": [],
        **changes,
    }
    (folder / "a.sigmf-data").write_bytes(CODES[name].tobytes() if data is None else data)
    path = folder / "a.sigmf-meta"
    path.write_text(json.dumps(meta))
    return path


def samples(source: Source) -> ComplexArray:
    return np.concatenate([event.samples for event in source.events() if isinstance(event, Block)])


@pytest.mark.parametrize("name", CODES)
def test_sigmf_formats(tmp_path: Path, name: str) -> None:
    source = SigmfFile(write_sigmf(tmp_path, name))
    assert (source.sample_rate_hz, source.center_hz, source.duration_s) == (8000.0, 7e6, 1.125)
    step = {"ci16": 2**-15, "ci8": 2**-7, "cu8": 2**-7}.get(name.split("_")[0], 1e-6)
    assert np.abs(samples(source) - IQ).max() <= step


def test_same_samples_as_the_sigmf_package(tmp_path: Path) -> None:
    path = write_sigmf(tmp_path, "ci16_be")
    theirs = sigmffile.fromfile(str(path)).read_samples()
    assert np.allclose(samples(SigmfFile(path)), theirs, atol=1e-6)


def test_several_captures_with_their_own_centres_and_a_pause(tmp_path: Path) -> None:
    captures = [
        {"core:sample_start": 0, "core:frequency": 7e6, "core:datetime": "2026-03-21T12:00:00Z"},
        {"core:sample_start": 4000, "core:frequency": 7.1e6, "core:datetime": "2026-03-21T12:00:00.500Z"},
        {"core:sample_start": 6000, "core:frequency": 7.1e6, "core:datetime": "2026-03-21T12:00:02.750Z"},
    ]
    source = SigmfFile(write_sigmf(tmp_path, captures=captures))
    events = list(source.events())
    assert [(e.first_sample, len(e.samples), e.center_hz) for e in events if isinstance(e, Block)] == [
        (0, 4000, 7e6),
        (4000, 2000, 7.1e6),
        (22000, 3000, 7.1e6),
    ]
    assert [event for event in events if isinstance(event, Gap)] == [Gap(0.75, 2.75, "the recording paused")]
    assert source.duration_s == 25000 / RATE_HZ


def test_global_index_goes_before_times(tmp_path: Path) -> None:
    captures = [
        {"core:sample_start": 0, "core:frequency": 7e6, "core:global_index": 5},
        {"core:sample_start": 4000, "core:frequency": 7e6, "core:global_index": 4015},
    ]
    events = list(SigmfFile(write_sigmf(tmp_path, captures=captures)).events())
    assert events[1] == Gap(0.5, 4010 / RATE_HZ, "the recording paused")


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"captures": [{"core:sample_start": 0}]}, "does not say its centre frequency; add --center KHZ"),
        ({"captures": [{"core:sample_start": 9000, "core:frequency": 7e6}]}, "its data ends at 9000"),
        ({"global": {"core:datatype": "cf32_le", "core:version": "1.0.0"}}, "no usable core:sample_rate"),
        ({"global": {"core:datatype": "rf32_le", "core:version": "1.0.0", "core:sample_rate": 1}}, "is not known"),
        ({"global": {"core:version": "1.0.0"}}, "is not valid SigMF metadata"),
        ({"data": CODES["cf32_le"].tobytes()[:-3]}, "was cut: 71997 bytes are not whole cf32_le samples"),
        ({"data": b""}, "holds no samples"),
        ({"annotations": [{"core:sample_start": 8000, "core:sample_count": 1001}]}, "was cut or changed"),
        (
            {
                "global": {
                    "core:datatype": "cf32_le",
                    "core:version": "1.0.0",
                    "core:sample_rate": 8000,
                    "core:sha512": "0" * 128,
                }
            },
            "was cut or changed",
        ),
        (
            {
                "captures": [
                    {"core:sample_start": 0, "core:frequency": 7e6, "core:datetime": "2026-03-21T12:00:00Z"},
                    {"core:sample_start": 4000, "core:frequency": 7e6, "core:datetime": "2026-03-21T12:00:00.1Z"},
                ]
            },
            "overlap in time by 3200 samples",
        ),
    ],
)
def test_sigmf_damage_is_one_sentence(tmp_path: Path, changes: dict[str, Any], sentence: str) -> None:
    with pytest.raises(HearmarkError, match=sentence):
        SigmfFile(write_sigmf(tmp_path, **changes))


def test_missing_sigmf_files_are_named(tmp_path: Path) -> None:
    with pytest.raises(HearmarkError, match=r"b\.sigmf-meta"):
        SigmfFile(tmp_path / "b.sigmf-meta")
    path = write_sigmf(tmp_path)
    path.with_suffix(".sigmf-data").unlink()
    with pytest.raises(HearmarkError, match="must lie beside its"):
        SigmfFile(path)


def test_a_checksum_that_fits(tmp_path: Path) -> None:
    digest = hashlib.sha512(CODES["cf32_le"].tobytes()).hexdigest()
    head = {"core:datatype": "cf32_le", "core:version": "1.0.0", "core:sample_rate": 8000, "core:sha512": digest}
    assert len(samples(SigmfFile(write_sigmf(tmp_path, **{"global": head})))) == 9000


def test_a_cut_file_can_be_read_as_far_as_it_goes(tmp_path: Path) -> None:
    path = write_sigmf(tmp_path, data=CODES["cf32_le"].tobytes()[:-3])
    assert len(samples(SigmfFile(path, cut=True))) == 8999


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
@pytest.mark.parametrize("container", ["WAV", "RF64", "WAVEX"])
def test_wav_formats(tmp_path: Path, subtype: str, container: str) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, PARTS.reshape(-1, 2), RATE_HZ, subtype, format=container)
    source = IqWav(path, 7e6)
    tolerance = {"PCM_U8": 1 / 128, "PCM_16": 1 / 32768}.get(subtype, 2e-7)
    assert np.abs((samples(source) - IQ).view(np.float32)).max() <= tolerance
    assert (source.sample_rate_hz, source.center_hz, source.duration_s) == (8000.0, 7e6, 1.125)
    assert np.allclose(samples(IqWav(path, 7e6, swap=True)), 1j * np.conj(samples(source)))


def wav_bytes(channels: int = 2, bits: int = 16, tag: int = 1, stated: int | None = None) -> bytes:
    data = CODES["ci16_le"].tobytes()
    form = struct.pack("<HHIIHH", tag, channels, RATE_HZ, 0, channels * bits // 8, bits)
    size = len(data) if stated is None else stated
    return b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0" + form + b"data" + struct.pack("<I", size) + data


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"ID3", "is not a WAV file"),
        (wav_bytes()[:30], "was cut before its samples begin"),
        (wav_bytes()[:20_000], r"was cut: its header says 1\.1 s, it holds 0\.6 s"),
        (wav_bytes(bits=12), "12 bits in format 1"),
        (wav_bytes(tag=85), "in format 85"),
        (wav_bytes(channels=4), r"has 4 channel\(s\)"),
        (wav_bytes()[:44], "was cut"),
    ],
)
def test_wav_damage_is_one_sentence(tmp_path: Path, content: bytes, sentence: str) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(content)
    with pytest.raises(HearmarkError, match=sentence):
        IqWav(path, 7e6)


def test_an_unfinished_or_cut_wav_is_read_to_its_end(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    for stated in (0, 0xFFFFFFFF):
        path.write_bytes(wav_bytes(stated=stated))
        assert len(samples(IqWav(path, 7e6))) == 9000
    path.write_bytes(wav_bytes()[:20_001])
    assert len(samples(IqWav(path, 7e6, cut=True))) == (20_001 - 44) // 4


def test_wav_needs_a_centre(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(wav_bytes())
    with pytest.raises(HearmarkError, match="add --center KHZ"):
        IqWav(path, None)
    with pytest.raises(HearmarkError, match="Cannot read"):
        IqWav(tmp_path / "b.wav", 7e6)


def test_writer_and_reader_agree_and_the_sigmf_package_accepts(tmp_path: Path) -> None:
    path = tmp_path / "out.sigmf-meta"
    with SigmfWriter(path, RATE_HZ, "a test") as writer:
        writer.write(Block(100, RATE_HZ, 7e6, IQ[:4000]))
        writer.write(Block(4100, RATE_HZ, 7e6, IQ[4000:5000]))
        writer.write(Block(6100, RATE_HZ, 7e6, 3 * IQ[5000:]))
        writer.annotate([Answer(1, 0.2, 0.4, 0.3, 7_001_000.0, 0.8, "ZZ1AB")], 2_700.0)
    events = list(SigmfFile(path).events())
    assert [type(event) for event in events] == [Block, Gap, Block]
    assert isinstance(events[0], Block)
    assert np.abs(events[0].samples - IQ[:5000]).max() <= 2**-15
    assert events[1] == Gap(5000 / RATE_HZ, 6000 / RATE_HZ, "the recording paused")
    assert writer.clipped_samples > 0
    read: SigMFFile = sigmffile.fromfile(str(path))
    read.validate()
    assert read.get_annotations()[0]["core:label"] == "ZZ1AB"


def test_a_broken_recording_has_no_metadata(tmp_path: Path) -> None:
    path = tmp_path / "out.sigmf-meta"
    with contextlib.suppress(RuntimeError), SigmfWriter(path, RATE_HZ) as writer:
        writer.write(Block(0, RATE_HZ, 7e6, IQ))
        raise RuntimeError
    assert not path.exists()


def test_opened_recordings_are_corrected_and_complete(tmp_path: Path) -> None:
    source = open_recording(write_sigmf(tmp_path))
    blocks = [event for event in source.events() if isinstance(event, Block)]
    assert sum(len(block.samples) for block in blocks) == 9000
    with pytest.raises(HearmarkError, match="leave --dial out"):
        open_recording(tmp_path / "a.sigmf-meta", dial=tmp_path / "d.csv")


def test_memory_does_not_grow_with_the_recording(tmp_path: Path) -> None:
    path = write_sigmf(tmp_path, "cu8", b"")
    with path.with_suffix(".sigmf-data").open("r+b") as file:
        file.truncate(8_000_000)
    tracemalloc.start()
    try:
        counted = sum(len(event.samples) for event in open_recording(path).events() if isinstance(event, Block))
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert counted == 4_000_000
    assert peak < 12_000_000


def test_not_a_number_becomes_silence() -> None:
    data = np.array([np.nan, 1.0, np.inf, 0.5], "<f4").tobytes()
    assert sample_format("cf32_le").decode(data).tolist() == [1j, 0.5j]


def test_a_centre_that_contradicts_the_file_is_refused(tmp_path: Path) -> None:
    path = write_sigmf(tmp_path, captures=[{"core:sample_start": 0}, {"core:sample_start": 10, "core:frequency": 7e6}])
    assert SigmfFile(path, 7_000_001.0).center_hz == 7_000_001.0
    with pytest.raises(HearmarkError, match=r"7000 kHz, and --center that it is 6974\.5 kHz"):
        SigmfFile(path, 6_974_500.0)


@pytest.mark.filterwarnings("error")
def test_samples_of_another_format_are_silence_and_no_warning(tmp_path: Path) -> None:
    """Integers read as floats: some are no numbers, others up to 1e38."""
    integers = np.random.default_rng(1).integers(-32768, 32767, 400_000).astype("<i2").tobytes()
    path = write_sigmf(tmp_path, "cf32_le", integers)
    assert np.abs(sample_format("cf32_le").decode(integers)).max() > 1e30
    heard = samples(open_recording(path, cut=True))
    assert np.isfinite(heard.view(np.float32)).all()
    assert np.abs(heard).max() < 1e7
    wav = tmp_path / "a.wav"
    soundfile.write(wav, np.full(24_000, 1e30, np.float32), 8_000, "FLOAT")
    (tmp_path / "d.csv").write_text("time_s,receive_hz,keyed\n0,7000000,0\n")
    assert not samples(open_recording(wav, dial=tmp_path / "d.csv")).any()


def read_whatever(path: Path) -> None:
    """Either samples that are finite, or one clear sentence; with a centre that was told, and without."""
    for center_hz in (7e6, None):
        read_with(path, center_hz)


def read_with(path: Path, center_hz: float | None) -> None:
    try:
        source = open_recording(path, center_hz)
        for event in source.events():
            if isinstance(event, Block):
                assert np.isfinite(event.samples.view(np.float32)).all()
    except HearmarkError as error:
        sentence = str(error)
    else:
        return
    assert "\n" not in sentence
    assert sentence.endswith(".")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


@settings(max_examples=120, deadline=None, derandomize=True)
@given(st.binary(max_size=200), st.integers(0, 80), st.integers(0, 300), st.sampled_from([b"", wav_bytes()[:600]]))
def test_any_bytes_as_wav(folder: Path, noise: bytes, at: int, keep: int, base: bytes) -> None:
    path = folder / "x.wav"
    path.write_bytes((base[:at] + noise + base[at + len(noise) :])[: keep + 100])
    read_whatever(path)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**70), 2**70) | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
keys = st.sampled_from(["core:datatype", "core:sample_rate", "core:num_channels", "core:offset", "core:sha512", "x:y"])
capture_keys = st.sampled_from(
    ["core:sample_start", "core:frequency", "core:datetime", "core:global_index", "core:header_bytes"]
)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.dictionaries(keys, json_values, max_size=2),
    st.lists(st.dictionaries(capture_keys, json_values | st.integers(0, 100), max_size=3), max_size=3),
    st.sampled_from(sorted(CODES)),
    st.binary(max_size=300),
)
def test_any_metadata(
    folder: Path, extra: dict[str, Any], captures: list[dict[str, Any]], name: str, data: bytes
) -> None:
    head = {"core:datatype": name, "core:version": "1.0.0", "core:sample_rate": RATE_HZ, **extra}
    starts = [{"core:sample_start": 0, **capture} for capture in captures]
    read_whatever(write_sigmf(folder, name, data, **{"global": head, "captures": starts}))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.binary(max_size=60))
def test_any_bytes_as_metadata(folder: Path, noise: bytes) -> None:
    path = write_sigmf(folder)
    path.write_bytes(noise)
    read_whatever(path)
