"""Both databases: SQLite in a file, and a PostgreSQL of the tests' own."""

import os
import subprocess
from pathlib import Path

import pytest

from tests.contracts.postgres import Postgres, newest_programs


@pytest.fixture(scope="session")
def postgres(tmp_path_factory):
    if newest_programs() is None:
        if os.environ.get("CI"):
            pytest.fail("PostgreSQL is not installed, and these tests must not be left out here")
        pytest.skip("PostgreSQL is not installed: `make core` installs it")
    # a socket's path must be short, and its folder open to the server's own user
    folder = Path("/tmp") / f"annot-pg-{os.getpid()}"
    folder.mkdir()
    server = Postgres(folder)
    yield server
    server.stop()
    subprocess.run(["rm", "-rf", str(folder)], check=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request, tmp_path):
    if request.param == "sqlite":
        return str(tmp_path / "store.db")
    return request.getfixturevalue("postgres").database()
