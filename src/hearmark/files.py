"""Writing files whole or not at all."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterable
from pathlib import Path

from hearmark.errors import HearmarkError


def write_whole(path: Path, content: bytes | str) -> None:
    """Write `content` beside `path`, then put it in its place, so that no reader sees half a file.

    Text is written as UTF-8. A link stays, and what it points at is written. Raises HearmarkError if the folder is
    missing or may not be written, or if `path` is no ordinary file.
    """
    write_pieces(path, [content.encode() if isinstance(content, str) else content])


def write_pieces(path: Path, pieces: Iterable[bytes]) -> None:
    """Like `write_whole`, for content that need not lie in memory at once."""
    target = behind(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
    except OSError as error:
        raise HearmarkError(f"Cannot write {path}: {error.strerror}; give a path in a folder that exists.") from error
    try:
        with os.fdopen(handle, "wb") as file:
            for piece in pieces:
                file.write(piece)
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(name, 0o666 & ~umask)
        os.replace(name, target)
    except OSError as error:
        raise HearmarkError(f"Cannot write {path}: {error.strerror}; choose another place.") from error
    finally:
        Path(name).unlink(missing_ok=True)


def behind(path: Path) -> Path:
    """The file that is written for `path`: what a link points at. HearmarkError for a folder, a device, a pipe."""
    target = Path(os.path.realpath(path))
    try:
        ordinary = stat.S_ISREG(os.lstat(target).st_mode)
    except FileNotFoundError:
        return target
    except OSError as error:
        raise HearmarkError(f"Cannot write {path}: {error.strerror}; choose another place.") from error
    if not ordinary:
        raise HearmarkError(f"Cannot write {path}: it is no ordinary file; choose another place.")
    return target


def check_writable(path: Path) -> None:
    """Raise HearmarkError now, before a long run, if `path` could not be written at its end."""
    target = behind(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        os.close(handle)
        os.unlink(name)
    except OSError as error:
        raise HearmarkError(
            f"Cannot write {path}: {error.strerror}; give a file name in a folder that exists and may be written."
        ) from error


def check_outputs(outputs: Iterable[Path | None], inputs: Iterable[Path | None] = ()) -> None:
    """Raise HearmarkError now unless all outputs can be written, and none is an input or another output.

    None stands for what was not given.
    """
    taken = [path for path in inputs if path is not None]
    written: list[Path] = []
    for path in filter(None, outputs):
        check_writable(path)
        if any(_same(path, one) for one in taken):
            raise HearmarkError(f"{path} is one of the files that are read, and would be lost; give another name.")
        if any(_same(path, one) for one in written):
            raise HearmarkError(f"{path} would be written twice; give each output a name of its own.")
        written.append(path)


def _same(one: Path, other: Path) -> bool:
    """True if both are one file, whatever it is called; for a file yet to come, if they are one place."""
    try:
        return os.path.samefile(one, other)
    except OSError:
        return os.path.realpath(one) == os.path.realpath(other)
