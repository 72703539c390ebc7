# Two commands set everything up: `make demo` and `make test`.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
LEAFLET ?= 1.9.4

.PHONY: demo test check same bench fuzz lowest dist sbom audit-deps leaflet clean

demo: $(VENV)/.installed
	$(BIN)/evenacre demo three-larks

test: $(VENV)/.tested
	$(BIN)/python -m pytest $(PYTEST)

# Whether this checkout writes the same bytes as a commit: make same BEFORE=HEAD~3
same: $(VENV)/.developed
	$(BIN)/python tools/same_outputs.py $(BEFORE)

check: $(VENV)/.developed
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-cache
	$(BIN)/deptry evenacre
	$(BIN)/deptry evenacre tests benchmarks --exclude "^$$" --ignore DEP002,DEP004

bench: $(VENV)/.tested
	$(BIN)/python benchmarks/run.py

# A million spoilt files; FUZZ="csv -runs=1000" for fewer, FUZZ=--merge to keep what they reached.
fuzz: $(VENV)/.tested
	$(BIN)/python -m pip install --quiet atheris
	$(BIN)/python tests/fuzz_atheris.py $(FUZZ)

# The suite with every dependency at its declared lower bound, and on other Pythons.
lowest lane-%: export PATH := $(abspath $(BIN)):$(PATH)
lowest: $(VENV)/.developed
	tools/lane.sh lowest-direct 3.11 $(PYTEST)

lane-%: $(VENV)/.developed
	tools/lane.sh highest $* $(PYTEST)

# What a release hands out, all in dist/.
dist sbom audit-deps: export PATH := $(abspath $(BIN)):$(PATH)
dist: $(VENV)/.released
	$(BIN)/python tools/dist.py

sbom: dist
	$(BIN)/python tools/sbom.py build/runtime/bin/python dist/evenacre.cdx.json

audit-deps: dist
	$(BIN)/python tools/audit_deps.py build/runtime/bin/python

# The map library of the reports, from its authors' npm package; tests/test_leaflet.py knows its sums.
leaflet:
	mkdir -p build
	npm pack --silent --pack-destination build leaflet@$(LEAFLET)
	tar -xzf build/leaflet-$(LEAFLET).tgz -C build
	cp build/package/LICENSE build/package/dist/leaflet.js build/package/dist/leaflet.css evenacre/reports/leaflet/

clean:
	rm -rf $(VENV) build three-larks

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

$(VENV)/.released: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet -e '.[release]'
	touch $@ $(VENV)/.installed
