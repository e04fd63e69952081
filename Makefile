# make setup, then make demo, test, check, bench
VENV ?= .venv
BIN := $(VENV)/bin
PYTHON ?= python3

.PHONY: setup demo test check format bench clean

setup: $(BIN)/.ready

$(BIN)/.ready: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install -q -e '.[test,dev]'
	touch $@

demo: setup
	$(BIN)/haltere demo

test: setup
	$(BIN)/python -m pytest -q -n 2 --dist loadfile

check: setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/numpydoc lint $$(git ls-files -co --exclude-standard 'src/*.py')
	$(BIN)/mypy
	$(BIN)/lint-imports

format: setup
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: setup
	@for script in benchmarks/*.py; do echo "== $$script"; $(BIN)/python "$$script" || exit 1; done

clean:
	rm -rf $(VENV) build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis
