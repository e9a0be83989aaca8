"""What was confirmed is on the disk, whatever happens: kill -9, a full disk, two processes, a crash between steps."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from hearmark.errors import HearmarkError
from hearmark.log import backups
from hearmark.log.adif import Field
from hearmark.log.contact import Contact, read_contact
from hearmark.log.schema import metadata
from hearmark.log.store import HEAD, Store


def contact(number: int = 0, **more: str) -> Contact:
    call = f"T{number % 10}{chr(65 + number // 10 % 26)}{chr(65 + number // 260 % 26)}"
    said = {"CALL": call, "QSO_DATE": "20260321", "TIME_ON": "1830", "BAND": "20m", "MODE": "CW", **more}
    return read_contact(tuple(Field(name, text) for name, text in said.items()))


WRITER = """
import sys
from pathlib import Path
from hearmark.log.store import Store
from hearmark.log.adif import Field
from hearmark.log.contact import read_contact
store = Store(Path(sys.argv[1]), backup=False)
for number in range(int(sys.argv[2]), 10**6):
    fields = [("CALL", f"T{number % 10}AA"), ("QSO_DATE", "20260321"), ("TIME_ON", "1830"), ("BAND", "20m"),
              ("MODE", "CW"), ("COMMENT", f"{number} " + "x" * 2000)]
    store.add(read_contact(tuple(Field(*field) for field in fields)))
    sys.stdout.write(f"{number}\\n")
    sys.stdout.flush()
"""


def start_writer(path: Path, first: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), str(first)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def numbers_in(path: Path) -> list[int]:
    with Store(path, backup=False) as store:
        return [int(found.text("COMMENT").split()[0]) for found in store.in_file_order()]


def is_sound(path: Path) -> bool:
    with closing(sqlite3.connect(path)) as connection:
        return bool(connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok")


def test_commits_are_synced(store: Store) -> None:
    with store.reading() as connection:
        assert connection.execute(sa.text("PRAGMA synchronous")).scalar() == 2, "FULL: a sync after each commit"
        assert connection.execute(sa.text("PRAGMA journal_mode")).scalar() == "wal"


def confirmed_by(writer: subprocess.Popen[str], least: int) -> list[int]:
    """Lets a writer confirm so many contacts, kills it at once, and gives all that it had confirmed."""
    assert writer.stdout is not None
    assert writer.stderr is not None
    said = []
    while len(said) < least:
        line = writer.stdout.readline()
        assert line, writer.stderr.read()
        said.append(line)
    writer.send_signal(signal.SIGKILL)
    said += writer.stdout.read().splitlines(keepends=True)
    writer.wait()
    assert not writer.stderr.read()
    # A line without its end was cut by the kill: nobody could have read it
    return [int(line) for line in said if line.endswith("\n")]


def test_nothing_confirmed_is_lost_by_kill_9(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    confirmed: list[int] = []
    for stop_after in (1, 7, 20, 45):
        first = (confirmed[-1] + 1000) if confirmed else 0
        confirmed += confirmed_by(start_writer(path, first), stop_after)
    assert is_sound(path)
    assert set(confirmed) <= set(numbers_in(path))


def test_two_processes_lose_nothing_and_wait_for_each_other(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    writers = [start_writer(path, first) for first in (0, 500_000, 700_000)]
    confirmed = [number for writer in writers for number in confirmed_by(writer, 40)]
    found = numbers_in(path)
    assert set(confirmed) <= set(found)
    assert len(set(found)) == len(found)


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """A real file system of 3 MB, where this may be made."""
    place = Path(tempfile.mkdtemp())
    made = shutil.which("mount") is not None and subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(place)], capture_output=True, check=False
    )
    if not made or made.returncode:
        place.rmdir()
        pytest.skip("a small file system cannot be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)
    place.rmdir()


def fill(path: Path) -> tuple[list[int], str]:
    """Adds until it is refused; what was confirmed, and the last line of what was said."""
    writer = start_writer(path, 0)
    out, errors = writer.communicate(timeout=120)
    return [int(line) for line in out.splitlines()], errors.strip().splitlines()[-1]


def test_full_disk_refuses_in_words_and_keeps_all_that_was_confirmed(small_disk: Path) -> None:
    path = small_disk / "log.db"
    confirmed, said = fill(path)
    assert "the disk is full, nothing was written" in said
    assert len(confirmed) > 20
    copy = Path(tempfile.mkdtemp())
    try:
        for name in ("log.db", "log.db-wal"):
            if (small_disk / name).exists():
                shutil.copy(small_disk / name, copy)
        assert is_sound(copy / "log.db")
        assert numbers_in(copy / "log.db") == confirmed
    finally:
        shutil.rmtree(copy)


def test_file_size_limit_refuses_in_words_and_keeps_all_that_was_confirmed(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    limited = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (2_000_000, 2_000_000))\n" + (
        "import signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n" + WRITER
    )
    done = subprocess.run([sys.executable, "-c", limited, str(path), "0"], capture_output=True, text=True, check=False)
    confirmed = [int(line) for line in done.stdout.splitlines()]
    assert "HearmarkError" in done.stderr
    assert "nothing was written" in done.stderr
    assert len(confirmed) > 20
    assert is_sound(path)
    assert numbers_in(path) == confirmed


def test_full_database_within_one_process_goes_on_when_there_is_room(store: Store) -> None:
    kept = store.add(contact(1))
    with store.engine.connect() as connection:
        pages = connection.execute(sa.text("PRAGMA page_count")).scalar()
        connection.execute(sa.text(f"PRAGMA max_page_count={pages}"))
    with pytest.raises(HearmarkError, match="the disk is full, nothing was written"):
        store.add(contact(2, COMMENT="x" * 20_000))
    with store.engine.connect() as connection:
        connection.execute(sa.text("PRAGMA max_page_count=1000000"))
    again = store.add(contact(3))
    assert [found.id for found in store.in_file_order()] == [kept.id, again.id]


def test_tables_are_what_the_migrations_make(store: Store) -> None:
    with store.reading() as connection:
        inspector = sa.inspect(connection)
        for table in metadata.tables.values():
            found = {column["name"]: bool(column["nullable"]) for column in inspector.get_columns(table.name)}
            wanted = {column.name: bool(column.nullable) for column in table.columns if not column.primary_key}
            assert {name: found[name] for name in wanted} == wanted
            assert set(found) == set(table.columns.keys())
            assert {index["name"] for index in inspector.get_indexes(table.name)} >= {i.name for i in table.indexes}


def test_head_is_the_newest_migration() -> None:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", "hearmark.log:migrations")
    assert ScriptDirectory.from_config(config).get_heads() == [HEAD]


def test_what_is_no_log_is_left_alone(tmp_path: Path) -> None:
    text = tmp_path / "notes.txt"
    text.write_text("not a database, but long enough to look like a file of some kind\n" * 50)
    before = text.read_bytes()
    with pytest.raises(HearmarkError, match="damaged or no log; give another --store"):
        Store(text)
    assert text.read_bytes() == before
    backups.folder(text).mkdir()
    (backups.folder(text) / "notes-20260321T183000.db").touch()
    with pytest.raises(HearmarkError, match=r"its copies are in .*notes\.txt\.backups"):
        Store(text)
    other = tmp_path / "other.db"
    with closing(sqlite3.connect(other)) as connection:
        connection.execute("create table something (a)")
        connection.commit()
    with pytest.raises(HearmarkError, match="a database of something else"):
        Store(other)


def test_newer_log_is_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    Store(path, backup=False).close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("update alembic_version set version_num = '9999'")
        connection.commit()
    with pytest.raises(HearmarkError, match="written by a newer Hearmark"):
        Store(path)


@pytest.mark.parametrize("name", ["missing/log.db", "."])
def test_place_that_cannot_hold_a_log(tmp_path: Path, name: str) -> None:
    with pytest.raises(HearmarkError, match="give a file name in a folder that exists"):
        Store(tmp_path / name)


def test_folder_that_may_not_be_written(tmp_path: Path) -> None:
    if os.geteuid() == 0:
        pytest.skip("root may write everywhere")
    tmp_path.chmod(0o500)
    with pytest.raises(HearmarkError):
        Store(tmp_path / "log.db")


def test_backup_is_whole_and_taken_once_a_day(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    with Store(path) as store:
        store.add(contact(1))
    assert not backups.copies(path), "an empty log needs no copy"
    with Store(path):
        pass
    with Store(path) as store:
        store.add(contact(2))
    ((_, copy),) = backups.copies(path)
    with Store(copy, backup=False) as restored:
        assert [found.call for found in restored.find()] == [contact(1).call]
    taken = backups.copies(path)[0][0]
    assert backups.is_due(path, taken + timedelta(hours=25))
    assert not backups.is_due(path, taken + timedelta(hours=23))
    assert backups.is_due(path, taken - timedelta(days=3)), "a clock that was wrong must not stop the copies"


def test_rotation_keeps_the_newest_and_one_a_month(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    place = backups.folder(path)
    place.mkdir()
    first = datetime(2024, 1, 1)
    for day in range(800):
        (place / f"log-{(first + timedelta(days=day)):%Y%m%dT%H%M%S}.db").touch()
    (place / "mine.db").touch()
    backups.rotate(path)
    kept = [moment for moment, _ in backups.copies(path)]
    assert kept[-backups.KEPT :] == [first + timedelta(days=day) for day in range(800 - backups.KEPT, 800)]
    assert len({(moment.year, moment.month) for moment in kept}) == 12
    assert len(kept) == 11 + backups.KEPT
    assert (place / "mine.db").exists()


def test_backup_that_fails_does_not_keep_a_contact_from_being_logged(tmp_path: Path) -> None:
    path = tmp_path / "log.db"
    with Store(path) as store:
        store.add(contact(1))
    backups.folder(path).write_text("in the way")
    with Store(path) as store:
        assert "No backup" in store.backup_trouble
        assert store.add(contact(2)).id == 2


def test_reader_sees_one_state_while_another_writes(store: Store) -> None:
    for number in range(5):
        store.add(contact(number))
    seen = store.find()
    first = next(seen)
    with Store(store.path, backup=False) as other:
        other.add(contact(9))
    assert len([first, *seen]) == 5
    assert store.count() == 6


def test_times_are_utc(store: Store) -> None:
    kept = store.add(contact(1))
    assert datetime.fromtimestamp(kept.start_s, UTC) == datetime(2026, 3, 21, 18, 30, tzinfo=UTC)
