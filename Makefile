# make demo   set up and run the main job on an invented district
# make test   set up and run every check and every test
# Nothing but git, make and Python >= 3.11 with venv has to be there before.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMPS := .stamps
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check
WORKERS ?= 2
DEMO_DIR ?= demo-district

.PHONY: demo test lint unit docs lock browser database clean
.DEFAULT_GOAL := demo

demo: $(STAMPS)/package
	$(BIN)/crossfall demo $(DEMO_DIR) --no-serve

test: lint unit docs

lint: $(STAMPS)/dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/lint-imports --no-logo
	$(BIN)/mypy
	$(BIN)/python hatch_build.py --check

unit: $(STAMPS)/dev browser database
	$(BIN)/python -m pytest -q -n $(WORKERS) --dist loadgroup --durations=15

docs: $(STAMPS)/dev
	$(BIN)/mkdocs build --strict

$(STAMPS)/venv:
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "crossfall needs Python 3.11 or newer; say make PYTHON=python3.12, for example")'
	$(PYTHON) -m venv $(VENV)
	mkdir -p $(STAMPS) && touch $@

$(STAMPS)/runtime: $(STAMPS)/venv requirements/runtime.lock requirements/build.lock
	$(PIP) --require-hashes -r requirements/runtime.lock
	$(PIP) --require-hashes -r requirements/build.lock
	touch $@

# The system's Node.js when it is new enough, else one from a wheel inside the environment
$(STAMPS)/node: $(STAMPS)/runtime requirements/node.lock
	@if node -e 'process.exit(+process.versions.node.split(".")[0] < 20)' 2>/dev/null && npm --version >/dev/null 2>&1; then \
	  echo "Node.js $$(node --version) found"; \
	else \
	  echo "no Node.js 20 or newer: taking one from a wheel"; \
	  $(PIP) --require-hashes -r requirements/node.lock; \
	fi
	touch $@

$(STAMPS)/package: $(STAMPS)/node pyproject.toml hatch_build.py package-lock.json $(shell find frontend -type f 2>/dev/null)
	$(PIP) --no-build-isolation --no-deps --editable .
	touch $@

$(STAMPS)/dev: $(STAMPS)/package requirements/dev.lock
	$(PIP) --require-hashes -r requirements/dev.lock
	touch $@

browser:
	@sh tools/bring.sh chromium chromium

database:
	@sh tools/bring.sh postgresql initdb

lock:
	$(PIP) uv
	for part in runtime build node dev; do \
	  $(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url \
	    --no-annotate --no-header requirements/$$part.in -o requirements/$$part.lock; \
	done

clean:
	rm -rf $(VENV) $(STAMPS) node_modules build dist site src/crossfall_app/static/built
