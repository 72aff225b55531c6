"""Loops made once per run; nothing here belongs to `make test`."""

from pathlib import Path

import pytest

from tests.bench.loops import LOOPS, BenchLoop, write_bench_loop, write_native_loop


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("loops")


@pytest.fixture(scope="session", params=LOOPS, ids=lambda one: one.name)
def written(request: pytest.FixtureRequest, folder: Path) -> tuple[BenchLoop, Path]:
    return request.param, write_bench_loop(folder, request.param)


@pytest.fixture(scope="session")
def native(folder: Path) -> Path:
    return write_native_loop(folder)


@pytest.fixture(scope="session")
def long_loop(folder: Path) -> tuple[BenchLoop, Path]:
    return LOOPS[0], write_bench_loop(folder, LOOPS[0], frames=600)
