# Two commands for a fresh machine (Python 3.11 or later, make): `make demo` and `make test`.

PYTHON ?= python3
BIN := .venv/bin
UV_VERSION := 0.13.9
# Hashes in the lock are verified by uv on every install.
INSTALL = $(BIN)/uv pip install --quiet --python $(BIN)/python --constraint requirements.lock

.PHONY: demo test lint lock bench clean

