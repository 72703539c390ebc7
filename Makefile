# Two commands set everything up: `make demo` and `make test`.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin

.PHONY: demo test check bench fuzz clean

demo: $(VENV)/.installed
	$(BIN)/evenacre demo three-larks

test: $(VENV)/.tested
	$(BIN)/python -m pytest $(PYTEST)

check: $(VENV)/.developed
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

bench: $(VENV)/.tested
	$(BIN)/python benchmarks/run.py

# A million spoilt files; FUZZ="csv -runs=1000" for fewer, FUZZ=--merge to keep what they reached.
fuzz: $(VENV)/.tested
	$(BIN)/python -m pip install --quiet atheris
	$(BIN)/python tests/fuzz_atheris.py $(FUZZ)

clean:
	rm -rf $(VENV) three-larks

$(VENV)/bin/python:
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --upgrade pip

$(VENV)/.installed: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet -e .
	touch $@

$(VENV)/.tested: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet -e '.[test]'
	touch $@ $(VENV)/.installed

$(VENV)/.developed: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet -e '.[dev]'
	touch $@ $(VENV)/.tested $(VENV)/.installed
