"""Fill the compiled caches: `python -m hearmark.warm` imports every module and calls its `warm()`.

A module with compiled loops offers `warm() -> None`, which calls each of them once on a few samples.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator

import hearmark


def module_names() -> Iterator[str]:
    """Every module of the package except the entry points, which run when imported."""
    for found in pkgutil.walk_packages(hearmark.__path__, "hearmark."):
        if found.name.rpartition(".")[2] != "__main__" and found.name != __name__:
            yield found.name


def main() -> None:
    """Import and warm; a module that this machine cannot load is named, and costs only itself."""
    for name in module_names():
        try:
            module = importlib.import_module(name)
        except (ImportError, OSError) as error:
            print(f"{name} cannot be loaded here: {error}")
            continue
        warm = getattr(module, "warm", None)
        if callable(warm):
            warm()


if __name__ == "__main__":
    main()
