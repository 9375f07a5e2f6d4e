"""A throw-away PostgreSQL server of the programs that are installed, on loopback only.

The server refuses to run as root, so root runs it as the user `postgres`, or as `nobody`.
"""

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
from pathlib import Path

PATIENCE = 60


def programs() -> Path | None:
    """Return the folder of the newest server programs; None where there are none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"))
    if found:
        return found[-1].parent
    on_path = shutil.which("postgres")
    return Path(on_path).parent if on_path else None


class Postgres:
    """A running server; `url` leads to it.  `stop` ends it and takes its files away."""

    def __init__(self, folder: Path) -> None:
        self._programs = folder
        self._place = Path(tempfile.mkdtemp(prefix="history-", dir="/tmp"))
        self._who = _user()
        if self._who is not None:
            os.chown(self._place, self._who.pw_uid, self._who.pw_gid)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.url = f"postgresql://rack@127.0.0.1:{self.port}/postgres"
        self._run("initdb", "-D", str(self._place / "data"), "-U", "rack", "-A", "trust", "-N")
        self._server = self._start()

    def stop(self) -> None:
        self._server.send_signal(signal.SIGINT)
        self._server.wait(PATIENCE)
        shutil.rmtree(self._place, ignore_errors=True)

    def _start(self) -> "subprocess.Popen[bytes]":
        log = self._place / "log"
        options = ["-p", str(self.port), "-k", str(self._place), "-c", "listen_addresses=127.0.0.1"]
        with log.open("wb") as file:
            server = subprocess.Popen(
                [
                    self._programs / "postgres",
                    "-D",
                    self._place / "data",
                    *options,
                    "-c",
                    "fsync=off",
                ],
                stdout=file,
                stderr=file,
                cwd="/",
                env=self._environment(),
                **self._as_user(),
            )
        self._run("pg_isready", "-h", "127.0.0.1", "-p", str(self.port), "-t", "20", again=100)
        return server

    def _run(self, program: str, *words: str, again: int = 1) -> None:
        for attempt in range(again):
            ended = subprocess.run(
                [self._programs / program, *words],
                capture_output=True,
                text=True,
                cwd="/",
                env=self._environment(),
                timeout=PATIENCE,
                check=False,
                **self._as_user(),
            )
            if ended.returncode == 0:
                return
            assert attempt < again - 1, ended.stdout + ended.stderr
            subprocess.run(["sleep", "0.1"], check=True)  # between two questions to the server

    def _environment(self) -> dict[str, str]:
        return {"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8"}

    def _as_user(self) -> dict[str, object]:
        if self._who is None:
            return {}
        return {"user": self._who.pw_uid, "group": self._who.pw_gid, "extra_groups": []}


def _user() -> "pwd.struct_passwd | None":
    if os.getuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    return None
