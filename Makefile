# Each target does all of its own set-up: a virtual environment in .venv, made anew when pyproject.toml changes.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.ready
# Tests start many processes: each would compile what the one before it compiled.
export PYTHONDONTWRITEBYTECODE :=

.PHONY: demo test lint types imports check bench soak sbom audit clean

$(STAMP): pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(0 if sys.version_info >= (3, 11) else "gaugehouse needs Python 3.11 or newer; this is " + sys.version.split()[0] + " (set PYTHON=python3.12, say)")'
	@$(PYTHON) -m venv $(VENV) || (echo "no venv module: on Debian install the package python3-venv" >&2; exit 1)
	$(BIN)/python -m pip install --quiet --upgrade pip
	$(BIN)/python -m pip install --quiet --editable '.[dev]'
	@touch $(STAMP)

demo: $(STAMP)
	$(BIN)/gaugehouse demo $(ARGS)

# Most tests wait more than they work, so several run at once; then browsers, fewer, in the order of their
# files, of which the first takes longest; then those that judge the wire by the clock, alone. A pass that fails
# keeps none of the others from running.
WORKERS ?= 4
BROWSER := tests/browser
WIRE := tests/collector tests/service_wire

test: $(STAMP)
ifeq ($(strip $(ARGS)),)
	@failed=; \
	$(BIN)/python -m pytest -n $(WORKERS) --dist loadfile --no-loadscope-reorder $(BROWSER:%=--ignore=%) $(WIRE:%=--ignore=%) || failed="$$failed rest"; \
	$(BIN)/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder $(BROWSER) || failed="$$failed browser"; \
	$(BIN)/python -m pytest $(WIRE) || failed="$$failed wire"; \
	test -z "$$failed" || { echo "passes that failed:$$failed" >&2; exit 1; }
else
	$(BIN)/python -m pytest $(ARGS)
endif

lint: $(STAMP)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(STAMP)
	$(BIN)/mypy

imports: $(STAMP)
	$(BIN)/lint-imports

check: lint types imports test

bench: $(STAMP)
	$(BIN)/python -m tests.bench $(ARGS)

soak: $(STAMP)
	$(BIN)/python -m pytest -m soak --override-ini='addopts=--import-mode=importlib --strict-markers -ra -s' --timeout=0 $(ARGS)

sbom: $(STAMP)
	$(BIN)/python deploy/sbom.py build/sbom.json

# Known vulnerabilities; without a network it says that nothing is known, and that is no failure.
audit: sbom
	@$(BIN)/python deploy/audit.py build/sbom.json || [ $$? -eq 3 ]

clean:
	rm -rf $(VENV) build *.egg-info .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
