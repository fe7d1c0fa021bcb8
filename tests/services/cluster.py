"""A PostgreSQL cluster of one's own, from Debian's packages: in a temporary folder, on a free port, and gone after.

It is started as the user postgres where we are root, since the server refuses to run as root.
"""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

DEBIAN = Path("/usr/lib/postgresql")


def programs() -> Path:
    """Return the folder of the server's programs. Raises FileNotFoundError."""
    folders = sorted(DEBIAN.glob("*/bin"), key=lambda p: float(p.parent.name), reverse=True)
    for folder in [*folders, *([Path(found).parent] if (found := shutil.which("initdb")) else [])]:
        if (folder / "initdb").exists() and (folder / "pg_ctl").exists():
            return folder
    raise FileNotFoundError("no PostgreSQL server here: apt-get install postgresql")


class Cluster:
    """A server that can be stopped and started again. ``syncs``: it waits for the disk, as one in earnest does."""

    def __init__(self, folder: Path, syncs: bool = False) -> None:
        self.syncs = syncs
        self.bin, self.folder, self.port = programs(), folder, _free()
        self._number = 0

    def make(self) -> None:
        self._run("initdb", "-D", self.data, "-U", "desk", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "-N")

    @property
    def data(self) -> str:
        return str(self.folder / "data")

    def start(self) -> None:
        syncs = "on" if self.syncs else "off"
        said = f"-c fsync={syncs} -p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories=''"
        self._run("pg_ctl", "-D", self.data, "-l", str(self.folder / "log"), "-w", "-t", "60", "-o", said, "start")

    def stop(self, how: str = "fast") -> None:
        """Stop the server; ``immediate`` as when the power goes."""
        self._run("pg_ctl", "-D", self.data, "-w", "-t", "60", "-m", how, "stop")

    def address(self, database: str = "postgres") -> str:
        return f"postgresql://desk@127.0.0.1:{self.port}/{database}"

    def fresh(self) -> str:
        """Return the address of a new, empty database."""
        self._number += 1
        name = f"cases_{self._number}"
        self.sql(f"CREATE DATABASE {name} ENCODING 'UTF8' TEMPLATE template0")
        return self.address(name)

    def sql(self, statement: str, database: str = "postgres") -> list[tuple[object, ...]]:
        """Run a statement as the one who may do everything."""
        import psycopg

        with psycopg.connect(self.address(database), autocommit=True) as connection:
            done = connection.execute(statement)
            return done.fetchall() if done.description else []

    def _run(self, program: str, *arguments: str) -> None:
        command = [str(self.bin / program), *arguments]
        if os.getuid() == 0:
            command = ["runuser", "-u", "postgres", "--", *command]
        with open(self.folder / "said", "ab") as said:  # a pipe would be held open by the server
            ran = subprocess.run(command, stdout=said, stderr=said, cwd=self.folder, check=False)
        if ran.returncode:
            raise RuntimeError(f"{program} failed: {(self.folder / 'said').read_text()[-2000:]}")


@contextmanager
def cluster(syncs: bool = False) -> Iterator[Cluster]:
    """A cluster that runs for as long as the block."""
    with tempfile.TemporaryDirectory(prefix="cluster-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        if os.getuid() == 0:
            owner = pwd.getpwnam("postgres")
            os.chown(folder, owner.pw_uid, owner.pw_gid)
        made = Cluster(folder, syncs)
        made.make()
        made.start()
        try:
            yield made
        finally:
            if (folder / "data" / "postmaster.pid").exists():
                made.stop("immediate")


def _free() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
