from pathlib import Path

import pytest

from hearmark.log.entities import Entities
from hearmark.log.store import Store


@pytest.fixture
def store(tmp_path: Path):
    with Store(tmp_path / "log.db", backup=False) as opened:
        yield opened


@pytest.fixture(scope="session")
def entities() -> Entities:
    return Entities()
