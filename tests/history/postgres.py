"""A PostgreSQL server of a test's own: its folder, its port, stopped and started at will."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

# Where Debian keeps the programs of each version.
_DEBIAN = Path("/usr/lib/postgresql")


def programs() -> Path | None:
    """The newest version's folder of programs; None where there is no server."""
    versions = sorted(_DEBIAN.glob("*/bin/initdb"), key=lambda path: int(path.parents[1].name))
    found = shutil.which("initdb")
    return versions[-1].parent if versions else Path(found).parent if found else None


needs_postgresql = pytest.mark.skipif(
    programs() is None, reason="no PostgreSQL server is installed (apt-get install postgresql)"
)


@dataclass(frozen=True)
class Server:
    folder: Path
    port: int

    @property
    def url(self) -> str:
        return f"postgresql://tester@127.0.0.1:{self.port}/history"

    def start(self) -> None:
        options = f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1 -c fsync=off"
        self._run("pg_ctl", "start", "-w", "-D", self.folder / "data", "-l", self.folder / "log", "-o", options)

    def stop(self, how: str = "fast") -> None:
        self._run("pg_ctl", "stop", "-w", "-D", self.folder / "data", "-m", how)

    def make(self) -> None:
        self._run("initdb", "-D", self.folder / "data", "-U", "tester", "-A", "trust", "--no-sync")
        self.start()
        self._run("createdb", "-h", "127.0.0.1", "-p", str(self.port), "-U", "tester", "history")

    def empty(self) -> None:
        for verb in ("dropdb", "createdb"):
            self._run(verb, "-h", "127.0.0.1", "-p", str(self.port), "-U", "tester", "history")

    def _run(self, program: str, *words: object) -> None:
        found = programs()
        assert found is not None
        # the server refuses to run as root
        as_user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        command = [*as_user, str(found / program), *map(str, words)]
        done = subprocess.run(command, cwd=self.folder, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                              stderr=subprocess.PIPE, timeout=50)  # fmt: skip
        assert done.returncode == 0, done.stderr.decode()


@contextlib.contextmanager
def cluster() -> Iterator[Server]:
    """A server with an empty database."""
    with tempfile.TemporaryDirectory(prefix="benchrig-pg-") as folder:
        if os.geteuid() == 0:
            shutil.chown(folder, "postgres", "postgres")
        server = Server(Path(folder), _free_port())
        server.make()
        try:
            yield server
        finally:
            with contextlib.suppress(AssertionError):  # it may be stopped
                server.stop("immediate")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
