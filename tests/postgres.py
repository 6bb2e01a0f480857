"""Real PostgreSQL servers for tests: Debian's, each in a folder of its own on a free loopback port.

Not a test itself. `initdb` refuses root, so root becomes the user postgres for it; anybody else starts it as
himself. `make test` says so when there is no PostgreSQL; the continuous integration installs it.
"""

import atexit
import contextlib
import os
import pwd
import secrets
import shutil
import subprocess
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import psycopg
import pytest

from tests.brokers import free_port


def binaries():
    """Folder of the newest server's programs; None where there is none."""
    found = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    if not found and (other := shutil.which("initdb")):
        found = [Path(other).parent]
    return max(found, key=lambda path: path.parent.name, default=None)


BINARIES = binaries()

needs_postgres = pytest.mark.skipif(
    BINARIES is None and not os.environ.get("STEADYOHM_REQUIRE_PEERS"),
    reason="PostgreSQL is not installed: the tests against a real database are left out",
)
"""Skips on a user's machine without a server, but never in .ci/run, which says that it must be there."""

SETTINGS = """
listen_addresses = '127.0.0.1'
unix_socket_directories = ''
max_connections = 60
shared_buffers = 64MB
log_min_messages = warning
"""


@dataclass
class Postgres:
    """A server that can be killed as by a power cut, and started again on the same port.

    Attributes:
        folder: for its files; made anew. It lies where the server's user may enter.
        more: settings that replace others, one a line.
    """

    folder: Path
    more: str = ""
    port: int = field(default_factory=free_port)
    process: subprocess.Popen | None = None

    def address(self, user="postgres", password="", database="postgres"):
        """Where a client finds it."""
        login = f"{user}:{password}" if password else user
        return f"postgresql://{login}@127.0.0.1:{self.port}/{database}"

    def make(self):
        """Make the cluster; anybody on this machine may log in, as in a test nobody else is here."""
        assert BINARIES, "PostgreSQL is not installed (Debian: apt install postgresql)"
        self.folder.mkdir(parents=True)
        if os.geteuid() == 0:
            whose = pwd.getpwnam("postgres")
            os.chown(self.folder, whose.pw_uid, whose.pw_gid)
        words = ["--auth=trust", "--username=postgres", "--no-sync", "--encoding=UTF8", "--locale=C.UTF-8"]
        done = subprocess.run(
            [*as_whom(), str(BINARIES / "initdb"), "-D", str(self.folder / "data"), *words],
            capture_output=True, text=True, cwd="/", check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        with (self.folder / "data" / "postgresql.conf").open("a") as file:
            file.write(f"{SETTINGS}{self.more}\n")
        return self

    def start(self):
        """Start it and wait until it takes work."""
        log = (self.folder / "server.log").open("ab")
        with log:
            words = [str(BINARIES / "postgres"), "-D", str(self.folder / "data"), "-p", str(self.port)]
            self.process = subprocess.Popen([*as_whom(), *words], stdout=log, stderr=log, cwd="/")
        for _ in range(600):
            if self.answers():
                return self
            if self.process.poll() is not None:
                break
            time.sleep(0.05)
        raise AssertionError((self.folder / "server.log").read_text(errors="replace")[-3000:])

    def answers(self):
        """Whether it takes connections."""
        words = ["-h", "127.0.0.1", "-p", str(self.port), "-q", "-t", "1"]
        return subprocess.run([str(BINARIES / "pg_isready"), *words], check=False).returncode == 0

    def kill(self):
        """As a power cut does: the postmaster at once; its children notice and follow."""
        if self.process is None:
            return
        children = subprocess.run(
            ["ps", "-o", "pid=", "--ppid", str(self.process.pid)], capture_output=True, text=True, check=False
        ).stdout.split()
        self.process.kill()
        self.process.wait()
        self.process = None
        for child in children:  # they may finish what they have begun; a new server waits for them
            while Path("/proc", child).exists():
                time.sleep(0.01)

    def stop(self):
        """Stop it in a hurry, as nobody needs the data any more."""
        if self.process is not None:
            self.process.send_signal(3)  # SIGQUIT: at once, without a checkpoint
            self.process.wait()
            self.process = None

    def __enter__(self):
        return self.make().start()

    def __exit__(self, *_):
        self.stop()


def as_whom():
    """Words that make root the user postgres; nothing for anybody else."""
    if os.geteuid() != 0:
        return []
    return ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]


@contextlib.contextmanager
def server(more="fsync = off"):
    """A server in a temporary folder that the server's user may enter (pytest's own is for one user only)."""
    folder = Path(tempfile.mkdtemp(prefix="steadyohm-postgres-"))
    folder.chmod(0o755)
    try:
        with Postgres(folder / "server", more) as postgres:
            yield postgres
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def new_database(postgres, name=""):
    """Make an empty database; gives its address."""
    name = name or f"line_{secrets.token_hex(4)}"
    with psycopg.connect(postgres.address(), autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    return postgres.address(database=name)


def shared():
    """One server for all tests of this process; each test takes a database of its own."""
    if "server" not in _SHARED:
        stack = contextlib.ExitStack()
        _SHARED["server"] = stack.enter_context(server())
        atexit.register(stack.close)
    return _SHARED["server"]


_SHARED = {}


@pytest.fixture
def database():
    """Address of an empty database."""
    return new_database(shared())
