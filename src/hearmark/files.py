"""Writing files whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from hearmark.errors import HearmarkError


def write_whole(path: Path, content: bytes | str) -> None:
    """Write `content` beside `path`, then put it in its place, so that no reader sees half a file.

    Text is written as UTF-8. Raises HearmarkError if the folder is missing or may not be written.
    """
    data = content.encode() if isinstance(content, str) else content
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        raise HearmarkError(f"Cannot write {path}: {error.strerror}; give a path in a folder that exists.") from error
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(name, 0o666 & ~umask)
        os.replace(name, path)
    except OSError as error:
        Path(name).unlink(missing_ok=True)
        raise HearmarkError(f"Cannot write {path}: {error.strerror}; choose another place.") from error


def check_writable(path: Path) -> None:
    """Raise HearmarkError now, before a long run, if `path` could not be written at its end."""
    if not path.parent.is_dir() or path.is_dir() or not os.access(path.parent, os.W_OK):
        raise HearmarkError(f"Cannot write {path}; give a file name in a folder that exists and may be written.")
