"""A PostgreSQL server of the tests' own: in a folder of its own, reached by a socket in it, gone afterwards."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path

import pytest

# Debian keeps the server's programs off the path; the newest version counts.
_DEBIAN = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name.partition(".")[0]), reverse=True)
_PATIENCE = 60.0


def require_postgres() -> None:
    """Skip the test where there is no PostgreSQL; in CI, where nothing may be left out unseen, fail it."""
    if program("postgres") and program("initdb"):
        return
    reason = "PostgreSQL is not installed (Debian: sudo apt-get install postgresql); “make postgres” does it where it may."
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)


def program(name: str) -> str | None:
    """Return the path of one of the server's programs, None where it is not installed."""
    for folder in _DEBIAN:
        if (folder / name).exists():
            return str(folder / name)
    return shutil.which(name)


class Cluster:
    """One server. durable: whether it waits for the disk as a real one does; tests that kill nothing need not."""

    def __init__(self, *, durable: bool = False) -> None:
        self._durable = durable
        # A socket's path must be short (107 bytes on Linux), so this is not below pytest's own folder.
        self.folder = Path(tempfile.mkdtemp(prefix="jb-pg-"))
        self._process: subprocess.Popen[bytes] | None = None
        self._databases = 0
        # The server refuses to run as root, and must not outlive a test run that is itself killed (util-linux setpriv).
        self._as_user: list[str] = []
        if setpriv := shutil.which("setpriv"):
            self._as_user = [setpriv, "--pdeathsig=SIGQUIT"]
        if os.geteuid() == 0:
            assert setpriv is not None, "as root the server needs setpriv of util-linux"
            shutil.chown(self.folder, "postgres", "postgres")
            self._as_user += ["--reuid=postgres", "--regid=postgres", "--clear-groups"]
        flags = ["--auth=trust", "--username=joulebook", "--encoding=UTF8", "--locale=C", *([] if durable else ["--no-sync"])]
        self._run("initdb", "--pgdata", str(self.data), *flags)
        self.start()

    @property
    def data(self) -> Path:
        """The folder of the server's files."""
        return self.folder / "data"

    def start(self) -> None:
        """Start the server and wait until it answers."""
        program_ = program("postgres")
        assert program_ is not None
        options = ["-D", str(self.data), "-k", str(self.folder), "-c", "listen_addresses=", "-c", "max_connections=40"]
        if not self._durable:
            options += ["-c", "fsync=off", "-c", "full_page_writes=off"]
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [*self._as_user, program_, *options], stdout=log, stderr=log, stdin=subprocess.DEVNULL, cwd="/", start_new_session=True
            )
        self._wait()

    def stop(self, how: int = signal.SIGINT) -> None:
        """Stop the server: SIGINT ends every connection at once (a fast shutdown), SIGQUIT is as hard as a power cut."""
        if self._process is None:
            return
        # setpriv becomes the server, so that this is the postmaster's own process.
        self._process.send_signal(how)
        self._process.wait(timeout=_PATIENCE)
        self._process = None

    def make_database(self) -> str:
        """Make an empty database and return its address."""
        import psycopg

        self._databases += 1
        name = f"room_{self._databases}"
        with psycopg.connect(host=str(self.folder), user="joulebook", dbname="postgres", autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}".encode())
        return self.address(name)

    def address(self, database: str) -> str:
        """Return the address of a database, there or not."""
        return f"postgresql+psycopg://joulebook@/{database}?host={self.folder}"

    def remove(self) -> None:
        """Stop the server, in whatever state its files are left, and take them away."""
        self.stop(signal.SIGQUIT)
        shutil.rmtree(self.folder, ignore_errors=True)

    def _run(self, name: str, *arguments: str) -> None:
        path = program(name)
        assert path is not None
        done = subprocess.run([*self._as_user, path, *arguments], capture_output=True, text=True, cwd="/", timeout=120)
        assert done.returncode == 0, done.stderr

    def _wait(self) -> None:
        import psycopg

        end = time.monotonic() + _PATIENCE
        while True:
            try:
                psycopg.connect(host=str(self.folder), user="joulebook", dbname="postgres", connect_timeout=5).close()
                return
            except psycopg.OperationalError:
                assert self._process is not None and self._process.poll() is None, (self.folder / "log").read_text()
                assert time.monotonic() < end, (self.folder / "log").read_text()
                time.sleep(0.05)
