"""Which room may import which: the contract in pyproject.toml, held by an import linter."""

from pathlib import Path

import pytest
from importlinter.cli import lint_imports

ROOT = Path(__file__).parent.parent


@pytest.fixture
def at_root(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)


@pytest.mark.usefixtures("at_root")
def test_each_room_imports_only_rooms_above_it() -> None:
    assert lint_imports(config_filename="pyproject.toml", no_cache=True) == 0


@pytest.mark.usefixtures("at_root")
def test_the_contract_can_fail(tmp_path: Path) -> None:
    package = tmp_path / "turned"
    package.mkdir()
    (package / "__init__.py").write_text("")
    (package / "low.py").write_text("import turned.high\n")
    (package / "high.py").write_text("")
    config = tmp_path / "contract.toml"
    config.write_text(
        '[tool.importlinter]\nroot_package = "turned"\n[[tool.importlinter.contracts]]\nname = "x"\n'
        'type = "layers"\nlayers = ["turned.high", "turned.low"]\n'
    )
    import sys

    sys.path.insert(0, str(tmp_path))
    try:
        assert lint_imports(config_filename=str(config), no_cache=True) == 1
    finally:
        sys.path.remove(str(tmp_path))
