"""A PostgreSQL server of the tests' own, in a folder of its own, without a network port."""

import getpass
import os
import shutil
import subprocess
from pathlib import Path

FOLDERS = "/usr/lib/postgresql"


class Postgres:
    """A running server with one database, which every test finds empty."""

    def __init__(self, folder: Path) -> None:
        self.data, self.socket = folder / "data", folder / "socket"
        self.socket.mkdir()
        self.programs = newest_programs()
        if self.programs is None:
            raise FileNotFoundError("PostgreSQL is not installed")
        # the server refuses to run as root
        self.owner = "postgres" if os.geteuid() == 0 else getpass.getuser()
        for one in (folder, self.socket):
            shutil.chown(one, self.owner)
            one.chmod(0o755)
        self.run("initdb", "-D", str(self.data), "-A", "trust", "-U", "postgres", "--no-sync")
        options = f"-c listen_addresses='' -c fsync=off -c max_connections=60 -k {self.socket}"
        log = str(self.socket / "log")
        self.run("pg_ctl", "-D", str(self.data), "-o", options, "-l", log, "-w", "start")

    def run(self, program: str, *words: str) -> None:
        command = [str(self.programs / program), *words]
        if os.geteuid() == 0:
            command = ["runuser", "-u", self.owner, "--", *command]
        # a server's own child would keep a pipe open for as long as it runs
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def database(self) -> str:
        """Return the URL of an empty database: the one there is, swept."""
        sweep = "DROP SCHEMA public CASCADE; CREATE SCHEMA public"
        self.run("psql", "-h", str(self.socket), "-U", "postgres", "-c", sweep)
        return f"postgresql://postgres@/postgres?host={self.socket}"

    def stop(self) -> None:
        self.run("pg_ctl", "-D", str(self.data), "-m", "immediate", "-w", "stop")


def newest_programs() -> Path | None:
    """Return the folder of the newest server's programs."""
    found = sorted(Path(FOLDERS).glob("*/bin/initdb"), key=lambda one: float(one.parts[-3]))
    return found[-1].parent if found else None
