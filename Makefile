# Everything a contributor types.  Each target prepares what it needs; nothing else has to be installed by hand
# beyond Python 3.11 or later with its venv module, and make.  Where packages come from is pip's own configuration.

PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
PIP    := $(BIN)/python -m pip --disable-pip-version-check --quiet

# Slower suites say so with this marker (pyproject.toml lists it).
FAST   := -m "not slow"
# A test that hangs ends its worker, which fails it by name, with where it stood.
BOUND  := -o faulthandler_timeout=400 -o faulthandler_exit_on_timeout=true
# One worker for each core; WORKERS=0 keeps everything in one process, which debuggers want.
WORKERS ?= auto
# Compiled modules are kept, whatever the shell says: else every process compiles the test tools anew.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: help demo desk test test-all test-emulated test-qemu mutants lint types bench micropython chromium wheel lock clean distclean
.DELETE_ON_ERROR:

help:
	@echo "make demo         draws the demo set on the virtual rig and leaves the pictures in out/"
	@echo "make desk         opens the desk, the page in the browser, on the virtual rig"
	@echo "make test         the tests, without those that take more than a few seconds each"
	@echo "make test-all     every test"
	@echo "make test-emulated PICO_UF2=image.uf2   the board's code on an emulated RP2040; minutes"
	@echo "make test-qemu QEMU_THUMB2=a.elf QEMU_RV32=b.elf   the board's code on other processors, in Debian's QEMU"
	@echo "make lint         ruff"
	@echo "make types        mypy, strict on host and protocol; the TypeScript compiler on the desk's page"
	@echo "make mutants      which small changes of the code the tests notice; hours"
	@echo "make bench        the figures of bench/README.md"
	@echo "make micropython  the Unix MicroPython in .tools/, for tests/dual and the virtual rig"
	@echo "make chromium     Debian's Chromium (installed where this is root), for the tests of the desk's page"
	@echo "make wheel        dist/*.whl"
	@echo "make lock         renews the pinned versions"
	@echo "make clean        removes what the above made; distclean also .venv and .tools"

# --- the environment ------------------------------------------------------------------------------------------------

# pip compiles on one core.  A few packages carry files for other versions of Python, which do not compile.
COMPILED := $(BIN)/python -W ignore -m compileall -qq -j 0 "$(CURDIR)/$(VENV)/lib" || true

# The two stamps say which lock the environment was last brought to.  The demo needs only the run-time half.
USER_STAMP := $(VENV)/.installed-user
DEV_STAMP  := $(VENV)/.installed-dev

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || { \
	  echo "make: '$(PYTHON)' is missing or older than 3.11."; \
	  echo "      Name a newer one: make PYTHON=/path/to/python3.12 $(MAKECMDGOALS)"; exit 1; }
	@$(PYTHON) -m venv $(VENV) || { rm -rf $(VENV); \
	  echo "make: '$(PYTHON) -m venv' failed; on Debian it needs the package python3-venv."; exit 1; }

# The version of the project stands in its version.py, hence not in the list: an editable install follows the sources.
$(USER_STAMP): requirements.lock pyproject.toml | $(BIN)/python
	@echo "preparing $(VENV) ..."
	@$(PIP) install --no-compile --require-hashes -r requirements.lock
	@$(PIP) install --no-deps --no-build-isolation --editable .
	@$(COMPILED)
	@touch $@

$(DEV_STAMP): requirements-dev.lock $(USER_STAMP)
	@echo "preparing $(VENV) for tests ..."
	@$(PIP) install --no-compile --require-hashes -r requirements-dev.lock
	@$(COMPILED)
	@touch $@

# --- use ------------------------------------------------------------------------------------------------------------

demo: $(USER_STAMP)
	@$(BIN)/python demo/run.py

desk: $(USER_STAMP)
	@$(BIN)/linewright desk

# Quick when the interpreter is there already.  Where a machine cannot provide it, the reason is printed and the tests
# that need it are skipped by name; LINEWRIGHT_REQUIRE_MICROPYTHON=1 makes that a failure.
micropython:
	@$(PYTHON) tests/get_micropython.py || test -z "$$LINEWRIGHT_REQUIRE_MICROPYTHON"

# The same for the browser that the desk's page is tested in; LINEWRIGHT_REQUIRE_CHROMIUM=1.
chromium:
	@$(PYTHON) tests/get_chromium.py || test -z "$$LINEWRIGHT_REQUIRE_CHROMIUM"

test: $(DEV_STAMP) micropython chromium
	@$(BIN)/python -m pytest -n $(WORKERS) --dist worksteal $(BOUND) $(FAST)

test-all: $(DEV_STAMP) micropython chromium
	@$(BIN)/python -m pytest -n $(WORKERS) --dist worksteal --hypothesis-profile=more

# Needs stock MicroPython images for RP2040 boards (Pico, Pico W, ..), 1.23 or later, which nobody can fetch for you here.  The
# emulator is pinned: tests/emulated changes some of its inner parts.
EMULATOR := rp2040py==0.3.6

test-emulated: $(DEV_STAMP)
	@test -n "$(PICO_UF2)" || { echo "make: name one MicroPython image or several: make test-emulated PICO_UF2=path/to/image.uf2"; exit 2; }
	@for image in $(PICO_UF2); do test -f "$$image" || { echo "make: $$image is not a file"; exit 2; }; done
	@$(BIN)/python -c 'import rp2040py' 2>/dev/null || $(PIP) install $(EMULATOR)
	@PICO_UF2="$(PICO_UF2)" $(BIN)/python -m pytest -n 0 --durations 0 tests/emulated

# Needs images of MicroPython's own `qemu` port, built with MICROPY_HEAP_SIZE=786432: of its board MPS2_AN500, of VIRT_RV32,
# or of both, and Debian's qemu-system-arm and qemu-system-misc.  A processor without an image is skipped by name.
test-qemu: $(DEV_STAMP)
	@test -n "$(QEMU_THUMB2)$(QEMU_RV32)" || { echo "make: name an image: make test-qemu QEMU_THUMB2=a.elf QEMU_RV32=b.elf"; exit 2; }
	@QEMU_THUMB2="$(QEMU_THUMB2)" QEMU_RV32="$(QEMU_RV32)" $(BIN)/python -m pytest -n 0 -rs tests/qemu

# Which small changes of the code the tests notice; bench/mutants.py lists the modules.  Hours for all of them:
# make mutants MUTANTS="--most 40 journal"
MUTATOR := cosmic-ray==8.7.0

mutants: $(DEV_STAMP) micropython
	@$(BIN)/python -c 'import cosmic_ray' 2>/dev/null || $(PIP) install $(MUTATOR)
	@$(BIN)/python bench/mutants.py $(MUTANTS)

lint: $(DEV_STAMP)
	@$(BIN)/python -m ruff check .
	@$(BIN)/python -m ruff format --check .

types: $(DEV_STAMP)
	@$(BIN)/python -m mypy
	@$(BIN)/python -m mypy --config-file device/mypy.ini --custom-typeshed-dir \
	  "$$($(BIN)/python -c 'import sysconfig; print(sysconfig.get_path("purelib"))')"
	@$(BIN)/python tests/page_types.py

bench: $(DEV_STAMP) micropython
	@set -e; for figure in $$(grep -l __main__ bench/*.py | grep -v -e mutants -e likeness -e svg_suite -e hulls); do echo "== $$figure"; $(BIN)/python $$figure; done

# --- release --------------------------------------------------------------------------------------------------------

wheel: $(DEV_STAMP)
	@$(BIN)/python -m build --wheel --no-isolation --outdir dist

# Run it with the oldest Python supported, so that nothing this version needs is left out.
# The development lock is held to the versions of the first one.
COMPILE := CUSTOM_COMPILE_COMMAND="make lock" $(BIN)/python -m piptools compile --quiet --upgrade --generate-hashes \
           --strip-extras --allow-unsafe --no-emit-index-url --no-emit-find-links --no-emit-trusted-host \
           --no-emit-options

# What a checkout can do out of the box.
WHOLE := checkout board photo fast vision fonts documents desk

lock: $(DEV_STAMP)
	@$(COMPILE) $(foreach extra,$(WHOLE),--extra $(extra)) -o requirements.lock pyproject.toml
	@$(COMPILE) -c requirements.lock $(foreach extra,$(WHOLE),--extra $(extra)) --extra test --extra lint --extra release \
	  -o requirements-dev.lock pyproject.toml
	@! grep -n '://' requirements.lock requirements-dev.lock

clean:
	rm -rf out build dist .pytest_cache .mypy_cache .ruff_cache .hypothesis
	find host shared_protocol device tests bench demo -name __pycache__ -type d -prune -exec rm -rf {} +

distclean: clean
	rm -rf $(VENV) .tools
