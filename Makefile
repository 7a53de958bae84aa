# Two commands for a fresh machine with Python 3.11 or later and make: `make demo` and `make test`.
# Both install exactly what requirements.lock names, hashes verified.

PYTHON ?= python3
LISTEN ?= 127.0.0.1:8050
BIN := .venv/bin
UV := $(BIN)/uv
say = @printf '\n== %s\n' $(1)
# Compiled ahead, as an installer does: where Python may not write beside the source, it would compile
# all of it at every start, which is a third of one.
compile = $(BIN)/python -m compileall -q analytics collector dashboard simulator

.PHONY: help demo test lint format bench examine fuzz lock packages clean

help:
	@echo 'make demo    set everything up and watch Juniper Bench, a simulated plant, on http://$(LISTEN)'
	@echo 'make test    set everything up and run every check'
	@echo 'make lint    style, types and import arrows only'
	@echo 'make bench   the figures that README and DEVELOPERS quote'
	@echo 'make examine  random plants with physics of their own, SEED=1 CASES=30 MODE=single, mixed or healthy'
	@echo 'make fuzz    payloads, plant files and readings files under a fuzzer, SECONDS=60 each'
	@echo 'make lock    resolve pyproject.toml into requirements.lock again'
	@echo 'make clean   remove what these commands made'

demo: .venv/ready-demo
	@$(compile)
	@$(BIN)/holdwater demo --data demo-data --listen $(LISTEN)

test: .venv/ready-test packages lint
	$(call say,'Tests')
	@$(BIN)/python -m pytest --numprocesses=auto --maxprocesses=4 --dist=loadfile --no-loadscope-reorder

lint: .venv/ready-test
	$(call say,'Style and types and import arrows')
	@$(BIN)/ruff check --quiet .
	@$(BIN)/ruff format --quiet --check .
	@$(BIN)/mypy
	@$(BIN)/lint-imports

format: .venv/ready-test
	@$(BIN)/ruff check --quiet --fix .
	@$(BIN)/ruff format --quiet .

bench: .venv/ready-bench
	@$(compile)
	@$(BIN)/python -m tests.bench

SEED ?= 1
CASES ?= 30
MODE ?= single
examine: .venv/ready-examine
	@$(compile)
	@$(BIN)/python -m tests.examiner --seed $(SEED) --cases $(CASES) --mode $(MODE) \
	  $(if $(RECORDED),--recorded $(RECORDED))

SECONDS ?= 60
fuzz: .venv/ready-fuzz
	@$(BIN)/python -m tests.fuzz $(SECONDS)

lock: $(UV)
	@$(UV) pip compile --quiet --universal --generate-hashes --all-extras --python-version 3.11 \
	  --no-emit-package holdwater --no-header --no-annotate pyproject.toml --output-file requirements.lock

# The installer itself comes from the lock too: its block is cut out and given to pip with its hashes.
$(UV):
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo 'Holdwater needs Python 3.11 or later; this is' "$$($(PYTHON) --version)." \
	         'Say which one to use: make PYTHON=/path/to/python3.11 …'; exit 1; }
	$(call say,'1 of 3: a Python environment of its own in .venv')
	@$(PYTHON) -m venv .venv || { echo 'On Debian: apt-get install python3-venv'; exit 1; }
	@sed -n '/^uv==/,/[^\\]$$/p' requirements.lock > .venv/uv.lock
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r .venv/uv.lock

.venv/ready-%: pyproject.toml requirements.lock | $(UV)
	$(call say,'2 of 3: the libraries for "$*" in the versions of requirements.lock')
	@$(UV) pip install --compile-bytecode --python $(BIN)/python --constraint requirements.lock \
	  --requirements pyproject.toml --extra build --extra $*
	$(call say,'3 of 3: Holdwater')
	@$(UV) pip install --quiet --python $(BIN)/python --no-deps --no-build-isolation --editable .
	@$(compile)
	@touch $@

# Debian's own programs that tests talk to: a real broker and a real browser.
packages:
	@missing=''; PATH="$$PATH:/usr/sbin"; \
	for program in mosquitto chromium; do \
	  command -v $$program > /dev/null || missing="$$missing $$program"; \
	done; \
	[ -z "$$missing" ] && exit 0; \
	echo "== Installing Debian packages:$$missing"; \
	if [ "$$(id -u)" = 0 ]; then as=''; \
	elif sudo -n true 2> /dev/null; then as='sudo -n'; \
	else as=none; fi; \
	if [ "$$as" = none ] || ! command -v apt-get > /dev/null; then \
	  echo "The tests need these programs, and this account may not install them."; \
	  echo "Install them, then run make test again:  sudo apt-get install$$missing"; exit 1; \
	fi; \
	export DEBIAN_FRONTEND=noninteractive; \
	$$as apt-get update -qq && $$as apt-get install -y -qq --no-install-recommends $$missing > .venv/packages.log 2>&1 || \
	  { tail -n 20 .venv/packages.log; exit 1; }

clean:
	rm -rf .venv demo-data artefacts .pytest_cache .mypy_cache .ruff_cache .hypothesis
