# Two commands for users: `make demo` and `make test`. The rest is for contributors (DEVELOPERS.md).
PYTHON ?= python3
VENV ?= .venv
BIN = $(VENV)/bin
ARGS ?=
# Tests start hundreds of processes of ours; without kept bytecode each would compile everything anew.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: demo line-demo test check lint types imports long setup wheel clean

demo: $(VENV)/.ready          ## the main job, on simulated instruments
	@$(BIN)/steadyohm demo $(ARGS)

line-demo: $(VENV)/.ready-test ## 50 benches, 3 collectors, one record; kill -9 of everything (needs mosquitto and PostgreSQL)
	@$(BIN)/python -m tests.whole_line $(ARGS)

test: $(VENV)/.ready-test     ## all tests of the short form; many wait for processes, so four at a time suit two cores
	$(BIN)/python -m pytest -n 4 --dist loadfile --no-loadscope-reorder $(ARGS)

check: lint types imports test  ## everything that must be green before a commit

lint: $(VENV)/.ready-test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/codespell

types: $(VENV)/.ready-test    ## for all three systems; their caches are kept apart, so that each run stays short
	$(BIN)/mypy
	$(BIN)/mypy --platform win32 --cache-dir .mypy_cache/win32
	$(BIN)/mypy --platform darwin --cache-dir .mypy_cache/darwin

imports: $(VENV)/.ready-test
	$(BIN)/lint-imports

long: $(VENV)/.ready-test     ## the longer forms, minutes to hours
	STEADYOHM_COLD=1 $(BIN)/python -m pytest -m "long" $(ARGS)
	STEADYOHM_COLD=1 STEADYOHM_RANDOM=1 $(BIN)/python -m pytest tests/property tests/unit $(ARGS)

setup: $(VENV)/.ready-test

wheel: $(VENV)/.ready-test
	$(BIN)/python -m build --wheel

$(VENV)/bin/python:
	$(PYTHON) -m venv $(VENV)

$(VENV)/.ready: pyproject.toml | $(VENV)/bin/python
	@echo "Setting up $(VENV) (once, about half a minute) ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	@touch $@

$(VENV)/.ready-test: pyproject.toml | $(VENV)/bin/python
	@echo "Setting up $(VENV) with the test tools (once, about a minute) ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[test]'
	@touch $@ $(VENV)/.ready

clean:
	rm -rf $(VENV) build dist *.egg-info
