# `make` lists what can be made. Everything runs in .venv, which is made from requirements.lock.

SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help
MAKEFLAGS += --no-print-directory

# The first Python on the path that is new enough; `make PYTHON=...` picks another one.
PYTHON ?= $(shell for p in python3 python3.13 python3.12 python3.11; do \
	"$$p" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && echo "$$p" && break; done)
BIN := .venv/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check -qq
PYTEST_ARGS ?=

.PHONY: help env demo test lint format bench lock schema clean

help: ## list the targets
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "  make %-8s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

env: .venv/.made ## make the environment in .venv from requirements.lock

.venv/.locked: requirements.lock
	@test -n "$(PYTHON)" || { echo "Tristrand needs Python 3.11 or newer on the path, or: make PYTHON=/path/to/python"; exit 1; }
	@echo "Making the environment in .venv (once; a minute or two) ..."
	@"$(PYTHON)" -m venv --clear .venv || { echo "This Python cannot make an environment; on Debian: apt install python3-venv"; exit 1; }
	@$(PIP) install --require-hashes -r requirements.lock
	@touch $@

.venv/.made: .venv/.locked pyproject.toml
	@$(PIP) install --no-deps --no-build-isolation --editable .
	@touch $@

demo: env ## check the demo van and write its report; the last line says where
	@$(BIN)/python tools/demo.py

test: env ## lint, then the whole suite
	@$(BIN)/python tools/system_needs.py
	@$(MAKE) lint
	@$(BIN)/python -m pytest -q --strict-markers -W error $(PYTEST_ARGS)

lint: env ## style, types, who may import whom, stray texts
	@$(BIN)/ruff check --quiet .
	@$(BIN)/ruff format --quiet --check . || { echo "Not formatted: run make format"; $(BIN)/ruff format --check .; }
	@$(BIN)/mypy --strict --no-error-summary src tools
	@out=$$($(BIN)/lint-imports 2>&1) || { echo "$$out"; exit 1; }
	@$(BIN)/python tools/check_texts.py
	@echo "lint: nothing to mend"

format: env ## put the code into the one layout
	@$(BIN)/ruff check --quiet --select I --fix .
	@$(BIN)/ruff format --quiet .

bench: env ## the speeds, each as a ratio against its limit
	@$(BIN)/python tools/system_needs.py
	@$(BIN)/python -m pytest -q -s benchmarks $(PYTEST_ARGS)

lock: ## resolve all versions anew (UPGRADE=1: take the newest) into requirements.lock
	@"$(PYTHON)" tools/lock.py $(if $(UPGRADE),--upgrade)

schema: env ## write the JSON Schema files of the design folder into build/schema
	@mkdir -p build/schema
	@$(BIN)/tristrand schema build/schema

clean: ## remove the environment, builds and caches
	@rm -rf .venv build dist .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .hypothesis .benchmarks
	@find . -name __pycache__ -type d -prune -exec rm -rf {} +
