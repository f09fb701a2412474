# Two commands do all set-up: `make demo` (the main job on sample_runs) and `make test`.
PYTHON ?= python3
TOOLS := .tools/py
UV := $(TOOLS)/bin/uv
VENV := .venv
STAMP := $(VENV)/.installed
REELPROOF := $(VENV)/bin/reelproof
export UV_PYTHON_DOWNLOADS := never
export UV_LINK_MODE := copy
export PYTHONPATH :=
# Every command starts a Python of its own: without compiled files on disk each would compile the libraries again.
export PYTHONDONTWRITEBYTECODE :=

.PHONY: demo test setup check lint types bench lock wheel clean

setup: $(STAMP)

$(UV):
	@echo "Fetching the installer into $(TOOLS) (once)"
	@$(PYTHON) -m pip install --quiet --disable-pip-version-check --no-warn-script-location \
	    --root-user-action=ignore --require-hashes --target $(TOOLS) -r .ci/installer.txt

$(STAMP): requirements-dev.txt pyproject.toml | $(UV)
	@echo "Setting up $(VENV) (once; again only when the pinned requirements change)"
	@test -x $(VENV)/bin/python || $(UV) venv --quiet --python $(PYTHON) $(VENV)
	@$(UV) pip sync --quiet --python $(VENV)/bin/python --require-hashes requirements-dev.txt
	@$(UV) pip install --quiet --python $(VENV)/bin/python --no-deps --no-build-isolation -e .
	@touch $@

demo: $(STAMP)
	@$(REELPROOF) demo --store out/demo

test: check $(STAMP)
	@$(VENV)/bin/python -m pytest -n 2

check: lint types

lint: $(STAMP)
	@$(VENV)/bin/ruff check .
	@$(VENV)/bin/ruff format --check .

types: $(STAMP)
	@$(VENV)/bin/mypy

bench: $(STAMP)
	@$(VENV)/bin/python -m tests.benchmarks

wheel: $(STAMP)
	@$(UV) build --quiet --wheel --no-build-isolation --python $(VENV)/bin/python --out-dir dist .
	@$(VENV)/bin/cyclonedx-py requirements requirements.txt --pyproject pyproject.toml --output-reproducible \
	    --spec-version 1.6 --output-format JSON --output-file dist/reelproof.cdx.json 2>/dev/null
	@$(VENV)/bin/python .ci/browser_libraries.py dist/reelproof.cdx.json

# Pins with hashes and without any registry address; commit the result.
lock: $(UV)
	$(UV) pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url \
	    --no-annotate --no-header --group dev --extra live --extra cluster pyproject.toml -o requirements-dev.txt
	$(UV) pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url \
	    --no-annotate --no-header -c requirements-dev.txt pyproject.toml -o requirements.txt

clean:
	rm -rf $(VENV) $(TOOLS) dist build out
