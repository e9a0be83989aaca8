"""The page of commands in docs is the one that the code makes."""

from pathlib import Path

from hearmark.reference import page

ROOT = Path(__file__).parents[1]


def test_the_page_in_docs_is_the_one_made_from_the_code() -> None:
    assert (ROOT / "docs" / "commands.md").read_text(encoding="utf-8") == page()


def test_every_command_and_option_has_a_meaning() -> None:
    rows = [line for line in page().splitlines() if line.startswith("| `")]
    assert len(rows) > 100
    assert [row for row in rows if row.endswith("|  |")] == []
    assert "## `hearmark log import FILE`" in page()
