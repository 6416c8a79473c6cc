# Targets with a line of explanation after ## are listed by `make` alone.
.DEFAULT_GOAL := help
.PHONY: help setup demo test check bench soak screenshots lock
SHELL := /bin/sh

PYTHON ?= $(shell for p in python3 python3.14 python3.13 python3.12 python3.11; do \
	"$$p" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && { echo "$$p"; break; }; done)
LOCKS := deploy/requirements
RUN := .venv/bin/python
INSTALL := $(RUN) -m pip install --quiet --no-input --disable-pip-version-check --require-hashes

help: ## this list
	@sed -n 's/^\([a-z]*\):.*## \(.*\)/  make \1@\2/p' Makefile | awk -F@ '{ printf "%-18s%s\n", $$1, $$2 }'

setup: .venv/runtime.stamp ## build .venv with everything the demo needs
	@:

demo: setup ## load the invented demo where there is none, and serve it on 127.0.0.1, port $PORT or 8000
	$(RUN) manage.py demo

test: .venv/dev.stamp ## the whole test suite: SQLite, a PostgreSQL started for it, a browser
	$(RUN) -m tests.run

check: .venv/dev.stamp ## style, types, import contracts, deployment checks, migrations, lock files, advisories
	$(RUN) -m tests.check

bench: .venv/dev.stamp ## the benchmark: ratios side by side, a table and var/bench/latest.json
	$(RUN) -m tests.bench

soak: .venv/dev.stamp ## what is too long for the test suite; figures in var/soak/
	$(RUN) -m tests.soak

screenshots: .venv/dev.stamp ## the README's pictures anew; fails where a page overflows, squeezes a text, complains, lacks its caution or fails axe
	$(RUN) -m tests.screenshots

lock: ## make the lock files anew from deploy/requirements/*.in; UPGRADE=--upgrade takes newer versions
	@tools=$$(mktemp -d) && trap 'rm -rf "$$tools"' EXIT && \
	$(PYTHON) -m venv "$$tools" && "$$tools/bin/python" -m pip install --quiet --disable-pip-version-check uv && \
	lock="$$tools/bin/uv pip compile --quiet --system-certs --universal --generate-hashes --python-version 3.11 --no-header $(UPGRADE)" && \
	cd $(LOCKS) && $$lock runtime.in -o runtime.txt && $$lock -c runtime.txt dev.in -o dev.txt

# The stamps record that an installation was finished: a later run with the same lock files does nothing.
.venv/bin/python:
	@test -n "$(PYTHON)" || { echo "Ladderbook needs Python 3.11 or newer. Here it is: $$(python3 --version 2>&1)." \
		"Install one, or name it: make setup PYTHON=/path/to/python3" >&2; exit 1; }
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
		echo "Ladderbook needs Python 3.11 or newer; $(PYTHON) is not." >&2; exit 1; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { echo "$(PYTHON) lacks its venv module" \
		"(on Debian and Ubuntu: the package python3-venv)." >&2; exit 1; }
	@echo "Building .venv with $$($(PYTHON) --version): a minute the first time."
	@$(PYTHON) -m venv .venv || { rm -rf .venv; exit 1; }

.venv/runtime.stamp: $(LOCKS)/runtime.txt | .venv/bin/python
	@$(INSTALL) -r $(LOCKS)/runtime.txt
	@touch $@

.venv/dev.stamp: $(LOCKS)/dev.txt .venv/runtime.stamp
	@echo "Installing what tests and checks need."
	@$(INSTALL) -r $(LOCKS)/dev.txt
	@touch $@
