"""Files appear whole or not at all."""

import os
import stat
from pathlib import Path

import pytest

from hearmark.errors import HearmarkError
from hearmark.files import check_outputs, check_writable, write_whole


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


def test_a_link_stays_and_what_it_points_at_is_written(tmp_path: Path) -> None:
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    link = tmp_path / "a.json"
    link.symlink_to(folder / "b.json")
    for text in ("first", "second"):  # the file behind it need not be there yet
        write_whole(link, text)
        assert link.is_symlink()
        assert (folder / "b.json").read_text() == text
    assert [entry.name for entry in folder.iterdir()] == ["b.json"]


def test_what_is_no_ordinary_file_is_refused(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    (tmp_path / "link").symlink_to("/dev/null")
    for path in (pipe, Path("/dev/null"), tmp_path / "link", tmp_path):
        for write in (check_writable, lambda path: write_whole(path, "x")):
            with pytest.raises(HearmarkError, match="no ordinary file"):
                write(path)
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_a_folder_that_only_looks_writable_is_refused_before(tmp_path: Path) -> None:
    with pytest.raises(HearmarkError, match=r"Cannot write /proc/x\.json"):
        check_writable(Path("/proc/x.json"))
    check_writable(tmp_path / "x.json")
    assert list(tmp_path.iterdir()) == []


def test_an_output_that_is_read_is_refused_by_whatever_name(tmp_path: Path) -> None:
    read, other = tmp_path / "a.wav", tmp_path / "b.png"
    read.write_text("samples")
    (tmp_path / "link").symlink_to(read)
    os.link(read, tmp_path / "hard")
    for name in ("a.wav", "link", "hard", "../" + tmp_path.name + "/a.wav"):
        with pytest.raises(HearmarkError, match="one of the files that are read"):
            check_outputs([other, tmp_path / name], [None, read])
    check_outputs([other, None], [read, None])


def test_two_outputs_in_one_file_are_refused(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "a.png")
    for name in ("a.png", "link"):  # neither is there yet
        with pytest.raises(HearmarkError, match="would be written twice"):
            check_outputs([tmp_path / "a.png", tmp_path / name])
