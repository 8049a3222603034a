# make demo   audit an invented section of six benches and write its reports (needs python3 >= 3.11, make, and a package index)
# make room   a room in the browser, filled with the demo's section (after make demo or before it)
# make test   every check and every test
# make check  the linter, the type checker and the layers
# make bench  accuracy and speed, written into docs/accuracy.md and docs/performance.md (1.5 h; BENCH=--quick for minutes)
# make pictures  the pictures of the room in docs/pictures, taken anew (needs Chromium)
# make docs   write the outputs shown in README.md and docs/ anew
# make lock   resolve requirements/*.in again; make clean   remove what make made

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
OUT ?= demo-output
BENCH ?=
PIP := $(BIN)/python -m pip --disable-pip-version-check
LOCK_VENV := .venv-lock

.PHONY: demo room test check bench docs pictures lock clean chromium postgres
.DELETE_ON_ERROR:

demo: $(VENV)/run.stamp
	$(BIN)/joulebook demo --out "$(OUT)"

room: $(VENV)/run.stamp
	$(BIN)/joulebook serve --demo

test: $(VENV)/dev.stamp chromium postgres check
	$(BIN)/python -m pytest -n 2

check: $(VENV)/dev.stamp
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: $(VENV)/dev.stamp
	$(BIN)/python -m benchmarks.run_all $(BENCH)

# A stamp is newer than the lock file that it stands for, so a second run installs nothing.
$(VENV)/venv.stamp:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "joulebook needs Python 3.11 or newer; $(PYTHON) is `$(PYTHON) -V 2>&1`. Name another: make PYTHON=python3.12 …" >&2; exit 1; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || \
	  { echo "$(PYTHON) cannot make a virtual environment: install its venv module (Debian, Ubuntu: apt-get install python3-venv)." >&2; exit 1; }
	$(PYTHON) -m venv "$(VENV)"
	@touch "$@"

$(VENV)/run.stamp: $(VENV)/venv.stamp requirements/run.txt pyproject.toml
	$(PIP) install --quiet --require-hashes -r requirements/run.txt
	$(PIP) install --quiet --no-deps --no-build-isolation -e .
	@touch "$@"

$(VENV)/dev.stamp: $(VENV)/run.stamp requirements/dev.txt
	$(PIP) install --quiet --require-hashes -r requirements/dev.txt
	@touch "$@"

# The page tests open what we write in a real browser. Without one they cannot run, and CI must not pass without them.
chromium:
	@if command -v chromium >/dev/null || command -v chromium-browser >/dev/null; then exit 0; fi; \
	if [ "`id -u`" = 0 ] && command -v apt-get >/dev/null; then \
	  echo "installing Chromium for the page tests"; \
	  apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends chromium >/dev/null; \
	else \
	  echo "Chromium is missing, and the page tests need it (Debian: sudo apt-get install chromium)." >&2; \
	  test -z "$$CI"; \
	fi

# The store's tests run on a PostgreSQL that they start for themselves; Debian keeps its programs off the path.
postgres:
	@if command -v initdb >/dev/null || ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1; then exit 0; fi; \
	if [ "`id -u`" = 0 ] && command -v apt-get >/dev/null; then \
	  echo "installing PostgreSQL for the store's tests"; \
	  apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends postgresql >/dev/null; \
	else \
	  echo "PostgreSQL is missing, and the store's tests need it (Debian: sudo apt-get install postgresql)." >&2; \
	  test -z "$$CI"; \
	fi

docs: $(VENV)/dev.stamp
	JOULEBOOK_REWRITE=1 $(BIN)/python -m pytest -q tests/test_readme.py

pictures: $(VENV)/dev.stamp chromium
	$(BIN)/python docs/pictures/make_pictures.py

lock:
	test -x $(LOCK_VENV)/bin/uv || { $(PYTHON) -m venv $(LOCK_VENV) && $(LOCK_VENV)/bin/python -m pip install --quiet uv; }
	cd requirements && for name in run dev; do \
	  ../$(LOCK_VENV)/bin/uv pip compile --quiet --no-config --generate-hashes --no-emit-index-url --no-emit-find-links \
	    --no-header --universal --python-version 3.11 $$name.in -o $$name.txt || exit 1; \
	done

clean:
	rm -rf "$(VENV)" "$(LOCK_VENV)" demo-output build dist .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .hypothesis
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
