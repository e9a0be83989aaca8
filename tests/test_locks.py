"""What is installed: locked, hashed, complete, and from nowhere in particular."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())


def pinned(lock: str) -> dict[str, set[str]]:
    """Name to versions, for lines that carry hashes."""
    found: dict[str, set[str]] = {}
    text = (ROOT / lock).read_text()
    for name, version in re.findall(r"^([a-z0-9-]+)==([^ ]+).*\\\n    --hash=sha256:[0-9a-f]{64}", text, re.M):
        found.setdefault(name, set()).add(version)
    return found


@pytest.mark.parametrize("lock", ["requirements.lock", "requirements-dev.lock"])
def test_every_line_is_a_pin_or_a_hash(lock: str) -> None:
    for line in (ROOT / lock).read_text().splitlines():
        assert re.match(r"[a-z0-9-]+==[^ ]+( ; .*)? \\$|    --hash=sha256:[0-9a-f]{64}( \\)?$", line), line


def test_locks_cover_what_the_project_asks_for_and_agree() -> None:
    run, dev = pinned("requirements.lock"), pinned("requirements-dev.lock")
    assert {re.split(r"[<>=\[ ]", name)[0] for name in PROJECT["project"]["dependencies"]} <= set(run)
    assert {re.split(r"[<>=\[ ]", name)[0] for name in PROJECT["dependency-groups"]["dev"]} <= set(dev)
    assert {name: dev.get(name) for name in run} == run


def test_npm_packages_are_locked_without_addresses() -> None:
    text = (ROOT / "package-lock.json").read_text()
    assert '"integrity"' in text
    assert '"resolved"' not in text


def test_installer_knows_its_profiles_and_every_system_package_has_a_purpose() -> None:
    result = subprocess.run(
        [sys.executable, "tools/install.py", "all"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert result.returncode == 2
    assert result.stderr == (
        "Hearmark cannot be installed: say `python3 tools/install.py run` or `python3 tools/install.py dev`.\n"
    )
    for line in (ROOT / "tools" / "system-packages.txt").read_text().splitlines():
        assert line.startswith("#") or re.fullmatch(r"[a-z0-9.+-]+ +\S.*[^.]", line), line
