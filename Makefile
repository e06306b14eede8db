# Everything a newcomer needs: `make demo` and `make test`.
VENV ?= .venv
PYTHON ?= python3
BIN := $(VENV)/bin

.PHONY: help demo test cover lint figures bench bench-speech torture fuzz wheel lock clean

help:  ## show what can be made
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/'

$(BIN)/.installed: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --upgrade pip
	$(BIN)/pip install --quiet --editable '.[dev,pdf,review,voice]'
	touch $@

demo: $(BIN)/.installed  ## hear the demo session: recorded speech to log, verdict and report
	$(BIN)/handsfree demo

test: $(BIN)/.installed  ## run all tests
	$(BIN)/pytest $(COVER) -m 'not figures and not real_time' -n 2 --dist worksteal
	$(BIN)/pytest $(COVER) -m real_time

cover: $(BIN)/.installed  ## run all tests with branch coverage, which takes half as long again
	rm -f .coverage
	$(MAKE) test COVER='--cov --cov-report= --cov-append'
	$(BIN)/coverage report

lint: $(BIN)/.installed  ## style, types and the layers of the architecture
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/mypy
	$(BIN)/lint-imports

bench-speech: $(BIN)/.installed  ## measure how far spoken numbers can be trusted (hours; --limit N)
	$(BIN)/python -m tests.speech_bench $(ARGS)

torture: $(BIN)/.installed  ## what is left of a dictation that is killed, starved, cut and forged (minutes; --seed N)
	$(BIN)/python -m tests.torture $(ARGS)

fuzz: $(BIN)/.installed  ## inputs of chance for everything that reads (hours; --seed N --cases N --only NAME)
	$(BIN)/python -m tests.fuzz $(ARGS)

figures: $(BIN)/.installed  ## how often the diagnosis finds the fault, over every shipped plan (an hour)
	$(BIN)/pytest -m figures

bench: $(BIN)/.installed  ## measure speed; figures are ratios within one run
	OPENBLAS_NUM_THREADS=1 $(BIN)/pytest --benchmark-only tests/bench_*.py  # as in the program itself

wheel: $(BIN)/.installed  ## install the wheel alone under each supported Python that is here, and run its demo
	.ci/wheel $(BIN)/python

lock: $(BIN)/.installed  ## write down the set that is installed and tested here, with hashes
	$(BIN)/pip freeze --all --exclude-editable > $(VENV)/tested.txt
	$(BIN)/pip install --quiet --dry-run --ignore-installed --constraint $(VENV)/tested.txt \
		--report $(VENV)/resolved.json '.[dev,pdf,review,voice]'
	$(BIN)/python .ci/lock.py < $(VENV)/resolved.json > requirements.lock

clean:  ## remove what was made
	rm -rf $(VENV) build dist .mypy_cache .pytest_cache .ruff_cache .hypothesis
