# Each sets up what it needs: `make desk`, `make demo`, `make test`.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
LEAFLET ?= 1.9.4
PYTEST ?= -n auto --maxprocesses 4

.PHONY: desk demo test check same catalogue bench fuzz lowest dist sbom audit-deps leaflet program pictures site clean

# The desk on the sample farm, which is written if it is not there.
desk: $(VENV)/.installed
	[ -e three-larks/season.toml ] || $(BIN)/evenacre demo three-larks --quiet
	$(BIN)/evenacre desk three-larks

demo: $(VENV)/.installed
	$(BIN)/evenacre demo three-larks

test: $(VENV)/.tested
	$(BIN)/python -m pytest $(PYTEST)

# Whether this checkout writes the same bytes as a commit: make same BEFORE=HEAD~3
same: $(VENV)/.developed
	$(BIN)/python tools/same_outputs.py $(BEFORE)

# The texts of the code into the catalogues of languages, where translators find what is new.
catalogue: $(VENV)/.installed
	$(BIN)/python tools/catalogue.py

check: $(VENV)/.developed site
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-cache
	$(BIN)/deptry evenacre
	$(BIN)/deptry evenacre tests benchmarks --exclude "^$$" --ignore DEP002,DEP004

# The documentation, into build/site; a warning is an error.
site: $(VENV)/.documented build/three-larks/truth.json
	$(BIN)/sphinx-build -q -E -W --keep-going -j auto -d build/doctrees docs build/site

bench: $(VENV)/.tested
	$(BIN)/python benchmarks/every.py

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

# One folder that needs no Python, for this system, tried before it is packed.
program: export PATH := $(abspath $(BIN)):$(PATH)
program: $(VENV)/.released
	$(BIN)/python tools/program.py

# The pictures of README and docs, from the sample farm.
pictures: $(VENV)/.tested
	$(BIN)/python tools/pictures.py

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

$(VENV)/.documented: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet -e '.[docs]'
	touch $@ $(VENV)/.installed

# The sample farm for the notebooks of the documentation.
build/three-larks/truth.json: $(wildcard evenacre/sample_fields/*.py)
	$(BIN)/python -m evenacre.sample_fields.three_larks build/three-larks

$(VENV)/.released: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet -e '.[release]'
	touch $@ $(VENV)/.installed
