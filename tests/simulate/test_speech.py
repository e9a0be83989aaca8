import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from hearmark.errors import HearmarkError
from hearmark.simulate import recorded, speech, spelling, synthesiser
from hearmark.simulate.audio import speech_power
from hearmark.simulate.voices import SYNTHETIC_VOICES

PHRASE = "kilo one alfa bravo charlie you are five nine"


def test_there_are_at_least_twelve_synthetic_voices_and_no_two_sound_alike() -> None:
    assert len(SYNTHETIC_VOICES) >= 12
    lengths = {speech.speech_s(PHRASE, voice) for voice in SYNTHETIC_VOICES}
    assert len(lengths) == len(SYNTHETIC_VOICES)
    assert all(1.5 < length < 4.0 for length in lengths)


@pytest.mark.parametrize("voice", ["s01", "s05", "s13", "s16"])
def test_speech_is_banded_and_at_its_level(voice: str) -> None:
    audio = speech.speak(PHRASE, voice)
    assert speech_power(audio, 8000) == pytest.approx(1.0, rel=0.01)
    f_hz, power = signal.periodogram(audio, 8000)
    assert np.sum(power[(f_hz < 200) | (f_hz > 2800)]) < 1e-4 * np.sum(power)
    assert np.abs(audio).max() < 7


def test_a_text_sounds_the_same_whatever_was_said_before() -> None:
    first = speech.speak(PHRASE, "s01").copy()
    speech._spoken.cache_clear()
    speech.speak("something else altogether", "s08")
    assert np.array_equal(speech.speak(PHRASE, "s01"), first)


def test_calls_and_figures_are_spelled_and_words_are_not() -> None:
    assert spelling.words("K1ABC/P you are 59") == [
        "kilo", "one", "alfa", "bravo", "charlie", "stroke", "papa", "you", "are", "five", "nine",
    ]  # fmt: skip
    assert spelling.words("QRZ? x-ray Zulu") == ["qrz", "x-ray", "zulu"]
    assert speech.speech_s("K1ABC", "s01") == speech.speech_s("kilo one alfa bravo charlie", "s01")


def test_active_level_of_a_burst_does_not_count_the_silence_about_it() -> None:
    # ITU-T P.56: the level is that of the active time. A tone of power 1/2 for 2 s of 10 s, hangover 0.2 s.
    audio = np.zeros(80_000, np.float32)
    audio[20_000:36_000] = np.sin(2 * np.pi * 800 * np.arange(16_000) / 8000)
    assert speech_power(audio, 8000) == pytest.approx(0.5 * 2.0 / 2.25, rel=0.06)


def test_other_rates_hold_the_same_speech() -> None:
    low, high = speech.speak(PHRASE, "s02"), speech.speak(PHRASE, "s02", 12_000)
    assert len(high) == pytest.approx(1.5 * len(low), abs=2)
    assert np.mean(high**2) == pytest.approx(np.mean(low**2), rel=0.01)


def test_a_shifted_voice_is_as_much_faster_and_higher() -> None:
    plain, high = speech.speak(PHRASE, "s03"), speech.speak(PHRASE, "s03+10")
    assert len(high) == pytest.approx(len(plain) / 1.1, rel=0.02)
    powers = [signal.welch(audio, 8000, nperseg=2048) for audio in (plain, high)]
    centroids = [np.sum(f_hz * power) / np.sum(power) for f_hz, power in powers]
    assert centroids[1] > centroids[0]
    assert len(speech.speak(PHRASE, "s03-10")) > len(plain)
    with pytest.raises(HearmarkError, match="up to 12 percent, like s03"):
        speech.speak(PHRASE, "s03+30")


def test_unknown_voice_lists_the_known_ones() -> None:
    with pytest.raises(HearmarkError, match=r"'s99' is not known; choose one of: s01, s02"):
        speech.speak("hello", "s99")


def test_missing_recordings_name_the_package(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(recorded, "RECORDINGS", tmp_path)
    recorded._folder.cache_clear()
    try:
        with pytest.raises(HearmarkError, match="install the Debian package asterisk-core-sounds-fr-wav"):
            speech.speak("a text never said before", "h-fr")
    finally:
        recorded._folder.cache_clear()


@pytest.mark.skipif(not recorded.human_voices(), reason="Debian packages asterisk-core-sounds-*-wav are not installed")
def test_recorded_voices_say_alphabet_and_digits() -> None:
    for voice in recorded.human_voices():
        one = speech.speech_s("alfa", voice)
        five = speech.speech_s("alfa bravo charlie delta nine", voice)
        assert 0.15 < one < 1.2
        assert five > 2.5 * one
        assert speech.speech_s("roger thank you", voice) > 0.3


def test_without_the_wheel_the_system_library_serves_or_a_sentence_names_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "espeakng_loader", None)
    monkeypatch.setattr("ctypes.util.find_library", lambda name: f"lib{name}.so.1")
    assert synthesiser.library_paths() == ("libespeak-ng.so.1", None)
    monkeypatch.setattr("ctypes.util.find_library", lambda name: None)
    with pytest.raises(HearmarkError, match=r"none is here; install the Debian packages libespeak-ng1 and espeak"):
        synthesiser.library_paths()
