"""Filling the compiled caches."""

import sys
from types import ModuleType

import pytest

from hearmark import warm


def test_every_module_is_found_except_entry_points() -> None:
    names = set(warm.module_names())
    assert {"hearmark.cli", "hearmark.sources.front_end", "hearmark.report"} <= names
    assert "hearmark.warm" not in names
    assert not any(name.endswith("__main__") for name in names)


def test_warm_is_called_and_what_cannot_be_loaded_is_named(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    called = []
    module = ModuleType("made_up")
    module.warm = lambda: called.append("made_up")  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "made_up", module)
    monkeypatch.setattr(warm, "module_names", lambda: iter(["made_up", "hearmark.not_there"]))
    warm.main()
    assert called == ["made_up"]
    assert "hearmark.not_there cannot be loaded here" in capsys.readouterr().out
