# Two commands: `make demo` runs the main job without a screen, `make test` passes every check.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
# The viewer's tests need these of a Debian 12: a virtual screen, software OpenGL, Qt's helpers.
SYSTEM_PACKAGES := xvfb xauth libgl1 libegl1 libglib2.0-0 libfontconfig1 libdbus-1-3 \
	libxkbcommon-x11-0 libxcb-cursor0 libxcb-icccm4 libxcb-keysyms1 libxcb-shape0
# The store's tests start a server of their own.
DATABASE_PACKAGES := postgresql
# Many small matrices: threads inside them only get into each other's way.
export OPENBLAS_NUM_THREADS := 1
NO_SCREEN := -p no:napari -p no:npe2 -p no:pytest-qt
SCREEN := QT_QPA_PLATFORM=xcb xvfb-run -a -s "-screen 0 1600x1000x24"

.PHONY: demo test lint types contracts core screen bench view clean

demo: $(VENV)/core.stamp
	$(BIN)/annot demo

test: lint types contracts core screen

lint: $(VENV)/test.stamp
	$(BIN)/ruff check
	$(BIN)/ruff format --check

types: $(VENV)/test.stamp
	$(BIN)/mypy

contracts: $(VENV)/test.stamp
	$(BIN)/lint-imports

core: $(VENV)/test.stamp $(VENV)/database.stamp
	$(BIN)/python -m pytest $(NO_SCREEN) --ignore=tests/shell --cov --cov-report=term:skip-covered

screen: $(VENV)/test.stamp $(VENV)/system.stamp
	$(BIN)/npe2 validate --imports annot
	CI=true $(SCREEN) $(BIN)/python -m pytest tests/shell

bench: $(VENV)/test.stamp
	$(BIN)/python -m pytest $(NO_SCREEN) -q -s -o python_files='bench_*.py' \
		-o python_functions='bench_*' --benchmark-columns=median,rounds \
		--benchmark-sort=mean tests/bench

view: $(VENV)/test.stamp
	$(BIN)/annot view

$(VENV)/core.stamp: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	touch $@

$(VENV)/test.stamp: $(VENV)/core.stamp
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable ".[viewer,test]"
	touch $@

$(VENV)/system.stamp: $(VENV)/core.stamp
	@sh tests/install_system_packages.sh $(SYSTEM_PACKAGES)
	touch $@

$(VENV)/database.stamp: $(VENV)/core.stamp
	@sh tests/install_system_packages.sh $(DATABASE_PACKAGES)
	touch $@

clean:
	rm -rf $(VENV) demo
