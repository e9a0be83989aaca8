import pytest

from hearmark.errors import HearmarkError
from hearmark.simulate import scenario


def test_presets_are_as_described() -> None:
    easy, hard, brutal = (scenario.preset(name, "cw", 1) for name in ("easy", "hard", "brutal"))
    assert (easy.callers, easy.undisciplined, easy.median_snr_db, easy.channel) == (20, 0.1, 12.0, "mid quiet")
    assert (hard.callers, hard.undisciplined, hard.median_snr_db, hard.channel) == (80, 0.2, 5.0, "mid moderate")
    assert hard.window_high_hz - hard.window_low_hz == 5000.0
    assert brutal.callers >= 100
    assert brutal.undisciplined == 0.35
    assert 0.0 <= brutal.median_snr_db <= 5.0


def test_varied_covers_the_range() -> None:
    drawn = [scenario.varied("usb", seed) for seed in range(400)]
    assert {one.channel for one in drawn} == set(scenario.CHANNELS)
    assert {one.habit for one in drawn} == set(scenario.HABITS)
    assert any(one.window_high_hz < one.dx_hz for one in drawn)
    assert any(one.window_low_hz > one.dx_hz for one in drawn)
    assert 4 <= sum(one.window_low_hz == one.window_high_hz for one in drawn) <= 40
    assert min(one.callers for one in drawn) <= 12
    assert max(one.callers for one in drawn) >= 90
    assert min(one.sloppiness for one in drawn) < 0.05
    assert max(one.sloppiness for one in drawn) > 0.95
    assert any(one.human_speech for one in drawn)


def test_same_seed_same_scenario() -> None:
    assert scenario.varied("cw", 3) == scenario.varied("cw", 3)
    assert scenario.varied("cw", 3) != scenario.varied("cw", 4)


def test_bad_input_is_told() -> None:
    with pytest.raises(HearmarkError, match="choose easy, hard or brutal"):
        scenario.preset("odd", "cw", 1)  # type: ignore[arg-type]
    with pytest.raises(HearmarkError, match="choose cw, usb or lsb"):
        scenario.varied("am", 1)  # type: ignore[arg-type]
    with pytest.raises(HearmarkError, match="Habit 'sit' is not known"):
        scenario.preset("easy", "cw", 1, "sit")  # type: ignore[arg-type]
    with pytest.raises(HearmarkError, match="give 1 to 86400"):
        scenario.varied("cw", 1, 0.0)
