"""Lessons as files: ours, a teacher's, and wrong ones."""

from pathlib import Path

import pytest
from learner import QUIET, quiet

from hearmark.errors import HearmarkError
from hearmark.practice import lesson as lessons
from hearmark.practice.lesson import lesson_from, levels, modes, read_lesson, scenario

DOCS = Path(__file__).parents[2] / "docs" / "practice.md"


def test_levels_lead_from_his_words_to_one_receiver_and_nothing_shown() -> None:
    found = list(levels().values())
    assert len(found) >= 6
    assert found[0].says == "figure"
    assert found[0].window == "up 5"
    assert [one.callers for one in found][-1] == max(one.callers for one in found)
    assert found[-1].receivers == 1
    assert found[-1].aids == ()
    for one in found:
        assert len(one.text.split()) > 50
        assert len(modes(one)) == 2
        for mode in modes(one):
            assert scenario(one, mode, 1) == scenario(one, mode, 1)
            assert scenario(one, mode, 1).seed != scenario(one, mode, 2).seed


def test_texts_teach_the_manners_of_the_trade() -> None:
    said = " ".join(" ".join(one.text.split()) for one in levels().values()).lower()
    for manner in ("listen to him", "one call, then listen", "never send on his frequency", "keep quiet until"):
        assert manner in said
    assert "in a split pile-up he does not listen where he sends" in said
    assert "never listens" not in said, "in simplex he does"


def test_a_file_of_a_teacher_is_read(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(
        'title = "Tuesday evening"\ntext = "Listen."\nmode = "lsb"\nvoice_khz = 7155\nvoice_window = "down 5-10"\n'
        'callers = 30\nhabit = "two spots"\naids = ["marks"]\nreceivers = 1\nseed = 12\n'
    )
    found = read_lesson(path)
    assert modes(found) == ("lsb",)
    here = scenario(found, "lsb", found.seed)
    assert (here.window_low_hz, here.window_high_hz) == (7_145_000.0, 7_150_000.0)
    assert here.habit == "two spots"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"callers": 0}, "callers: input should be greater than or equal to 1"),
        ({"callers": "many"}, "callers: input should be a valid integer"),
        ({"colour": "red"}, "colour: there is no such entry"),
        ({"habit": "circle"}, "habit: input should be 'stay'"),
        ({"aids": ["hints"]}, "aids"),
        ({"window": "somewhere"}, 'Window "somewhere" is not understood'),
        ({"window": "up 5-90"}, "end within 34 kHz"),
        ({"window": "simplex"}, "there is no window to watch"),
        ({"channel": "wet"}, "wet"),
        ({"dx_khz": 12_000.0}, "in no amateur band"),
        ({"title": ""}, "title"),
        ({"undisciplined": float("nan")}, "undisciplined"),
    ],
)
def test_a_wrong_lesson_is_one_clear_sentence(changes: dict[str, object], sentence: str) -> None:
    with pytest.raises(HearmarkError) as caught:
        lesson_from({**QUIET, **changes}, "mine.toml")
    said = str(caught.value)
    assert sentence in said
    assert "mine.toml" in said
    assert "\n" not in said


def test_what_is_no_lesson_is_told(tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    with pytest.raises(HearmarkError, match="Cannot read the lesson"):
        read_lesson(path)
    path.write_text("title = ")
    with pytest.raises(HearmarkError, match="is not TOML"):
        read_lesson(path)
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(HearmarkError, match="is not TOML"):
        read_lesson(path)
    path.write_text("#" * 200_000)
    with pytest.raises(HearmarkError, match="at most 100000"):
        read_lesson(path)


def test_a_single_figure_is_a_narrow_window() -> None:
    here = scenario(quiet(window="down 1.5"), "cw", 1)
    assert here.window_low_hz == pytest.approx(here.dx_hz - 1600.0)
    assert here.window_high_hz == pytest.approx(here.dx_hz - 1400.0)


def test_docs_list_every_entry() -> None:
    assert lessons.page() in DOCS.read_text(encoding="utf-8")
