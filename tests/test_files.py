"""Files appear whole or not at all."""

from pathlib import Path

import pytest

from hearmark.errors import HearmarkError
from hearmark.files import write_whole


def test_text_and_bytes_replace_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    write_whole(path, "früher")
    write_whole(path, b"later")
    assert path.read_bytes() == b"later"
    assert list(tmp_path.iterdir()) == [path]


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(HearmarkError, match="give a path in a folder that exists"):
        write_whole(tmp_path / "no" / "a.json", "x")


def test_a_failure_leaves_no_half_file(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    with pytest.raises(HearmarkError, match="choose another place"):
        write_whole(tmp_path / "a", "x")
    assert [entry.name for entry in tmp_path.iterdir()] == ["a"]
