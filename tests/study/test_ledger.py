"""Results on disk: whole lines only, each trial once, and a study that goes on where it was."""

from pathlib import Path
from typing import Any

import pytest

from hearmark.errors import HearmarkError
from hearmark.study.ledger import Ledger
from hearmark.study.runner import play_all


def square(number: int) -> dict[str, Any]:
    return {"key": str(number), "square": number * number}


def test_results_are_kept_and_found_again(tmp_path: Path) -> None:
    path = tmp_path / "results.jsonl"
    with Ledger(path) as ledger:
        assert ledger.add(square(3))
        assert not ledger.add({"key": "3", "square": 10})
    with Ledger(path) as ledger:
        assert ledger.records == {"3": square(3)}
    assert len(path.read_text().splitlines()) == 1


def test_a_line_cut_short_is_played_again(tmp_path: Path) -> None:
    path = tmp_path / "results.jsonl"
    with Ledger(path) as ledger:
        for number in range(3):
            ledger.add(square(number))
    path.write_bytes(path.read_bytes()[:-4])
    with Ledger(path) as ledger:
        assert set(ledger.records) == {"0", "1"}
        ledger.add(square(2))
    with Ledger(path) as ledger:
        assert set(ledger.records) == {"0", "1", "2"}


def test_a_strange_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("shopping list\n")
    with pytest.raises(HearmarkError, match=r"Line 1 of .* is no result of a study"):
        Ledger(path)
    assert path.read_text() == "shopping list\n"


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(HearmarkError, match="Cannot keep results"):
        Ledger(tmp_path / "nowhere" / "results.jsonl")


@pytest.mark.parametrize("processes", [1, 2])
def test_what_is_there_is_not_played_again(tmp_path: Path, processes: int) -> None:
    said: list[float] = []
    with Ledger(tmp_path / "results.jsonl") as ledger:
        ledger.add({"key": "2", "square": "as it was"})
        play_all(square, range(6), ledger, str, processes, told=said.append)
        assert ledger.records["2"]["square"] == "as it was"
        assert [ledger.records[str(n)]["square"] for n in (0, 1, 3, 4, 5)] == [0, 1, 9, 16, 25]
    assert said == [1, 2, 3, 4, 5, 6]


def dies_once(path: Path) -> dict[str, Any]:
    """Kills its own process the first time it is played."""
    import os
    import signal

    if path.name == "bad" and not path.exists():
        path.write_text("was here")
        os.kill(os.getpid(), signal.SIGKILL)
    return {"key": path.name}


def test_a_process_that_dies_costs_no_result(tmp_path: Path) -> None:
    items = [tmp_path / name for name in ("a", "b", "bad", "c", "d")]
    with Ledger(None) as ledger:
        play_all(dies_once, items, ledger, lambda item: item.name, 2)
        assert set(ledger.records) == {"a", "b", "bad", "c", "d"}


def always_dies(number: int) -> dict[str, Any]:
    import os
    import signal

    os.kill(os.getpid(), signal.SIGKILL)
    return {}


def test_processes_that_always_die_end_the_study_with_one_sentence() -> None:
    with Ledger(None) as ledger, pytest.raises(HearmarkError, match="die again and again"):
        play_all(always_dies, range(2), ledger, str, 2)
