# Everything from a fresh checkout: only Python 3.11 or later, make, and a package index are needed.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: demo lint quick test slow bench docs clean

demo: .venv/ready
	$(BIN)/fieldmap demo -o out

quick: lint
	$(BIN)/python -m pytest -q -m "not whole and not slow and not benchmark and not browser" -n logical --dist worksteal

test: lint
	$(BIN)/python -m pytest -m "not slow and not benchmark" -n logical --dist loadfile

lint: .venv/ready
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

slow: .venv/ready
	$(BIN)/python -m pytest -m slow

bench: .venv/ready
	$(BIN)/python -m pytest -m benchmark -s tests/benchmarks

# What docs/ takes from the code: the keys of plan.toml, its schema, the pictures of the guide (these need Chromium).
docs: .venv/ready
	$(BIN)/python docs/make_docs.py --pictures

.venv/ready: constraints.txt pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Python 3.11 or later is needed; name it: make PYTHON=python3.12")'
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r constraints.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e ".[app,batch,notebook,dev]"
	touch $@

clean:
	rm -rf .venv out build *.egg-info .pytest_cache .mypy_cache .ruff_cache .hypothesis
