"""The views beside the live one: set-up, and what the session came to."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hearmark.session import SessionRecord
    from hearmark.settings import Settings
    from hearmark.web.forecast import Forecaster
    from hearmark.web.logbook import Logbook


def beside_pages(
    settings: Settings, path: Path | None, record: SessionRecord, logbook: Logbook | None, forecaster: Forecaster,
    begun: datetime,
) -> list[Any]:  # fmt: skip
    """Routes of both, for the server of the live page. What is saved counts at once where it can."""
    from hearmark.path.antenna import station_antenna
    from hearmark.web import after, setup

    def saved(now: Settings) -> None:
        forecaster.station, forecaster.antenna = now.station, station_antenna(now)
        if logbook is not None:
            logbook.settings = now

    return [
        *setup.routes(setup.SetUp(settings, path, saved)),
        *after.routes(after.After(record, logbook, begun)),
    ]
