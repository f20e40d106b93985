# One door for people, CI and hooks. `make run` and `make test` do all of their own set-up.
PYTHON ?= python3
VENV := .venv
ifeq ($(OS),Windows_NT)
BIN := $(VENV)/Scripts
else
BIN := $(VENV)/bin
endif
STAMP := $(VENV)/.stamp
UV := $(shell command -v uv 2>/dev/null)
ifdef UV
INSTALL = VIRTUAL_ENV=$(CURDIR)/$(VENV) $(UV) pip install --quiet
else
INSTALL = $(BIN)/python -m pip install --quiet --disable-pip-version-check
endif

.PHONY: run setup test bench lint format lock docs-pictures clean

run: setup
	@$(BIN)/coupage run --demo

setup: $(STAMP)-run

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(0 if sys.version_info >= (3, 11) else "Coupage needs Python 3.11 or newer; name one with: make run PYTHON=python3.12")'
	@$(PYTHON) -m venv $(VENV)

$(STAMP)-run: requirements/run.txt pyproject.toml | $(BIN)/python
	@echo "Setting up the program in $(VENV) (once)"
	@$(INSTALL) --require-hashes -r requirements/run.txt
	@$(INSTALL) --no-deps --no-build-isolation --editable .
	@touch $@

$(STAMP)-test: requirements/test.txt $(STAMP)-run
	@echo "Setting up the test tools in $(VENV) (once)"
	@$(INSTALL) --require-hashes -r requirements/test.txt
	@touch $@

$(STAMP)-bench: requirements/bench.txt $(STAMP)-test
	@echo "Setting up the reference libraries in $(VENV) (once)"
	@$(INSTALL) --require-hashes -r requirements/bench.txt
	@touch $@

test: $(STAMP)-test
	@$(BIN)/python tools/test.py

lint: $(STAMP)-test
	@$(BIN)/ruff format --check .
	@$(BIN)/ruff check .
	@$(BIN)/lint-imports --no-cache
	@$(BIN)/mypy
	@$(BIN)/python -m coupage.web.manage makemigrations --check --dry-run

format: $(STAMP)-test
	@$(BIN)/ruff format .
	@$(BIN)/ruff check --fix .

bench: $(STAMP)-bench
	@$(BIN)/python -m bench

docs-pictures: $(STAMP)-test
	@$(BIN)/python tools/pictures.py

# Locks name versions and hashes, never an index.
lock:
	@for f in run test bench; do uv pip compile --universal --python-version 3.11 --generate-hashes \
	  --no-emit-index-url --no-header --quiet requirements/$$f.in -o requirements/$$f.txt; done

clean:
	@rm -rf $(VENV)
