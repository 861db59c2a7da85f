# make demo    the whole job on an invented plant, in a folder of its own
# make test    lint, types, import contract, tests
# make bench   the benchmarks, one after the other
# make lock    renew the two lock files (UPGRADE=--upgrade for newer releases)
# make clean   remove what the other targets made
#
# Another Python: make demo PYTHON=python3.12

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
# Wheels only: a source archive would fetch its build tools, and nobody has hashed those.
INSTALL := $(BIN)/python -m pip install --quiet --disable-pip-version-check --no-compile
LOCKED := $(INSTALL) --require-hashes --only-binary=:all: -r
COMPILE := $(BIN)/uv pip compile pyproject.toml --quiet --universal --fork-strategy=fewest \
	--generate-hashes --no-header --no-annotate --no-emit-index-url $(UPGRADE)

.PHONY: demo test lint types imports unit bench lock clean
.DELETE_ON_ERROR:

demo: $(VENV)/run.stamp
	@$(BIN)/takeup demo

test: lint types imports unit

lint: $(VENV)/test.stamp
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(VENV)/test.stamp
	$(BIN)/mypy

imports: $(VENV)/test.stamp
	$(BIN)/lint-imports --no-logo

unit: $(VENV)/test.stamp
	$(BIN)/pytest -n 2 --dist loadfile

bench: $(VENV)/test.stamp
	@set -e; for script in tests/benchmarks/bench_*.py; do echo "== $$script"; $(BIN)/python "$$script"; done

# Each stamp is written last, so that a set-up cut short starts afresh.
$(VENV)/lock.stamp: requirements.lock
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
	  echo 'takeup needs Python 3.11 or newer; "$(PYTHON)" is none. Name one you have: make demo PYTHON=python3.12' >&2; \
	  exit 1; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { \
	  echo 'This Python cannot make a virtual environment. Install what it lacks, then try again:' >&2; \
	  $(PYTHON) -c 'import sys; print("    sudo apt-get install -y python%d.%d-venv" % sys.version_info[:2])' >&2; \
	  exit 1; }
	@echo 'Setting up $(VENV), once: about half a minute.'
	@$(PYTHON) -m venv --clear $(VENV)
	@$(LOCKED) requirements.lock
	@touch $@

$(VENV)/run.stamp: pyproject.toml $(VENV)/lock.stamp
	@$(INSTALL) --no-index --no-deps --no-build-isolation --editable .
	@touch $@

$(VENV)/test.stamp: requirements-test.lock $(VENV)/run.stamp
	@echo 'Adding what the tests need, once.'
	@$(LOCKED) requirements-test.lock
	@touch $@

# The lock holds versions and hashes, no addresses: each user's own registry or mirror serves it. The test lock is
# worked out first and binds the other, so that both name the same releases.
lock: $(VENV)/test.stamp
	$(INSTALL) 'uv>=0.9'
	$(COMPILE) --group build --group test --output-file requirements-test.lock
	$(COMPILE) --group build --constraint requirements-test.lock --output-file requirements.lock

clean:
	rm -rf $(VENV) dist takeup-demo .hypothesis .import_linter_cache .mypy_cache .pytest_cache .ruff_cache
	find pipeline tests sample_exports -name __pycache__ -type d -prune -exec rm -rf {} +
