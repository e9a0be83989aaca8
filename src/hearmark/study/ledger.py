"""Results of trials on disk: one JSON object a line, written as each trial ends, so that a study can go on later."""

from __future__ import annotations

import json
import os
from pathlib import Path
from types import TracebackType
from typing import Any

from hearmark.errors import HearmarkError


class Ledger:
    """A file of results, or none: each trial stands in it once, whoever played it how often.

    Lines that a broken run left unfinished are cut off; a line that is no result is an error.
    """

    def __init__(self, path: Path | None) -> None:
        self.records: dict[str, dict[str, Any]] = {}
        """Key of the trial to its result."""
        self._file = None
        if path is None:
            return
        try:
            self._file = path.open("a+b")
            self._file.seek(0)
            whole = self._file.read()
        except OSError as error:
            raise HearmarkError(f"Cannot keep results in {path}: {error.strerror}; choose another place.") from error
        keep = whole.rfind(b"\n") + 1
        for number, line in enumerate(whole[:keep].splitlines(), 1):
            try:
                record = json.loads(line)
                self.records.setdefault(record["key"], record)
            except (ValueError, TypeError, KeyError):
                raise HearmarkError(
                    f"Line {number} of {path} is no result of a study; give a file that a study wrote, or a new name."
                ) from None
        if keep < len(whole):
            self._file.truncate(keep)
        self._file.seek(0, os.SEEK_END)

    def add(self, record: dict[str, Any]) -> bool:
        """Keep one result; False when that trial is there already."""
        if record["key"] in self.records:
            return False
        self.records[record["key"]] = record
        if self._file is not None:
            self._file.write(json.dumps(record).encode() + b"\n")
            self._file.flush()
        return True

    def __enter__(self) -> Ledger:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._file is not None:
            self._file.close()
