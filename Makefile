# Every target that needs it makes the clone ready first (tools/bootstrap): own .venv, the package, what it needs.
# A second run finds everything there and adds less than a second.
#
#   make demo ARGS="--fault torn@200"     pass words on to the demo
#   make test ARGS="-k carry_over"        pass words on to pytest
#   PYTHON=python3.12 make test           choose the interpreter

PYTHON ?= python3
ARGS ?=
JOBS ?= auto

export PYTHON
VENV_PYTHON := .venv/bin/python

.DEFAULT_GOAL := help
.PHONY: help demo test check check-all prove-matrix bench commands-page errors-page clean ready ready-dev

help:  ## this list
	@echo "Rotorwright: the targets of this Makefile"
	@sed -n 's/^\([a-z-]*\):.*## \(.*\)/  make \1|\2/p' Makefile | awk -F'|' '{ printf "%-20s %s\n", $$1, $$2 }'

ready:
	@tools/bootstrap run

ready-dev:
	@tools/bootstrap dev

demo: ready  ## watch a whole changeover on a virtual aircraft (about two minutes)
	@.venv/bin/rotorwright demo $(ARGS)

test: ready-dev  ## run the tests
	@$(VENV_PYTHON) -m pytest -n $(JOBS) -m "not full_walk" $(ARGS)

check: ready-dev  ## format, lint, types, import contract, names, tests: what has to pass before a commit
	@$(VENV_PYTHON) tools/check.py --jobs $(JOBS)

check-all: ready-dev  ## check, then the interruption walk over every single operation
	@$(VENV_PYTHON) tools/check.py --jobs $(JOBS) --full-walk

prove-matrix: ready-dev  ## every planted fault against every bench check, 200 seeded aircraft each (about 25 minutes)
	@$(VENV_PYTHON) -m benchmarks.prove_matrix $(ARGS)

bench: ready-dev  ## measure reading and writing against the limit of the line
	@$(VENV_PYTHON) -m benchmarks $(ARGS)

commands-page: ready-dev  ## write docs/reference/commands.md anew from the command line itself
	@$(VENV_PYTHON) tools/list_commands.py --write

errors-page: ready-dev  ## write docs/reference/errors.md anew from the error classes
	@$(VENV_PYTHON) tools/list_errors.py --write

clean:  ## remove what was made here: environment, caches, demo folders
	@rm -rf .venv .mypy_cache .pytest_cache .ruff_cache .hypothesis .import_linter_cache build dist demo-out
	@find src tests benchmarks tools -name __pycache__ -type d -prune -exec rm -rf {} +
	@echo "clean: removed .venv, caches, build, dist, demo-out"
