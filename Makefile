# Everything a person or a machine does with this project. Needs: make, python3 (3.11 or newer) with venv.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: help run test check bench lock
help:
	@echo "make run    build .venv once, then serve the live page on a demo pile-up"
	@echo "make test   every test, browser included"
	@echo "make check  style, types, and which room may import which"
	@echo "make bench  the figures that the docs quote"
	@echo "make lock   renew the lock files from pyproject.toml"

run:
	@$(PYTHON) tools/install.py run
	@$(BIN)/hearmark listen --demo

test:
	@$(PYTHON) tools/install.py dev
	@$(BIN)/python -m pytest

check:
	@$(PYTHON) tools/install.py dev
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports --config pyproject.toml
	@if [ -f jsconfig.json ] && [ -x node_modules/.bin/tsc ]; then echo tsc && node_modules/.bin/tsc -p jsconfig.json; fi

bench:
	@$(PYTHON) tools/install.py dev
	@set -e; for script in bench/*.py; do echo "== $$script"; $(BIN)/python $$script; done

lock:
	@$(PYTHON) tools/install.py dev
	$(BIN)/uv pip compile --quiet --universal --generate-hashes --no-emit-index-url --no-annotate --no-header \
	  pyproject.toml --group build -o requirements.lock
	$(BIN)/uv pip compile --quiet --universal --generate-hashes --no-emit-index-url --no-annotate --no-header \
	  pyproject.toml --group build --group dev -c requirements.lock -o requirements-dev.lock
