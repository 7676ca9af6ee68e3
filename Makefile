# evenburn. `make` alone prints the words. Needs Python 3.11 or newer and make, nothing else.

PYTHON ?= python3
PY = .venv/bin/python
READY = .venv/ok
MINUTES ?= 20

.PHONY: help demo test browser lint check docs bench soak campaign audit

help:
	@echo "make demo     build .venv, plan the sample batch into out/demo and say what is there"
	@echo "make test     run the tests"
	@echo "make browser  drive the pages in a real browser (the system's chromium)"
	@echo "make lint     ruff, its formatter and strict mypy"
	@echo "make check    lint and test: what has to pass before a commit"
	@echo "make docs     write docs/reference anew from the program itself"
	@echo "make bench    measure time and memory of the slow jobs"
	@echo "make soak     search for faults at random, 20 minutes (or MINUTES=600)"
	@echo "make campaign every case of every long test, and the virtual bench in full; hours"
	@echo "make audit    look for known faults of the locked packages (ADVISORIES=file.json: off line)"
	@echo ""
	@echo "Another Python: make demo PYTHON=python3.12"

# One stamp for all: it is made last, so a set-up that was cut short is simply done again. Where sums are known for this
# system and Python, exactly the packages of the lock are installed, each file by its SHA-256; elsewhere the newest that fit.
$(READY): pyproject.toml requirements-dev.lock
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || { \
	  echo "error: evenburn needs Python 3.11 or newer; '$(PYTHON)' is $$($(PYTHON) --version 2>/dev/null || echo 'not there')" >&2; \
	  echo "try:   make $(MAKECMDGOALS) PYTHON=python3.12   (or any newer one you have)" >&2; exit 1; }
	@echo "evenburn: setting up with $$($(PYTHON) --version), once; a few minutes on a slow line"
	@echo "  making .venv"
	@$(PYTHON) -m venv .venv || { \
	  echo "error: Python could not make a virtual environment" >&2; \
	  echo "try:   install your system's venv package (on Debian: apt install python3-venv)" >&2; exit 1; }
	@tools/set-up || { \
	  tail -n 25 .venv/install.log >&2; \
	  echo "error: the packages could not be installed; all that pip said is in .venv/install.log" >&2; \
	  echo "try:   look whether this machine is on line, then run make again" >&2; exit 1; }
	@echo "  ready"
	@touch $(READY)

demo: $(READY)
	@.venv/bin/evenburn demo

test: $(READY)
	@OPENBLAS_NUM_THREADS=1 $(PY) -m pytest -q -n auto --dist loadfile

browser: $(READY)
	@$(PY) -m pytest tests/browser -m browser -q -n 2 --dist loadfile

lint: $(READY)
	@echo "ruff check"; $(PY) -m ruff check --quiet .
	@echo "ruff format"; $(PY) -m ruff format --quiet --check . || { \
	  echo "error: some files are not formatted" >&2; echo "try:   $(PY) -m ruff format ." >&2; exit 1; }
	@echo "mypy"; $(PY) -m mypy --no-error-summary

check: lint test

docs: $(READY)
	@$(PY) tools/write_reference.py
	@$(PY) tools/draw_figures.py
	@$(PY) tools/write_safety.py
	@$(PY) tools/licences.py

bench: $(READY)
	@$(PY) bench/run.py

soak: $(READY)
	@$(PY) tools/soak.py --minutes $(MINUTES)

campaign: $(READY)
	@$(PY) -m pytest tests/property tests/hostile tests/faults tests/service/test_motion_card.py -q -n auto --hypothesis-profile=campaign

audit: $(READY)
	@$(PY) tools/audit.py $(ADVISORIES)
