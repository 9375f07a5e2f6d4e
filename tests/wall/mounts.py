"""File systems that a test mounts for one command, seen by nobody else."""

import subprocess
from pathlib import Path

import pytest

PATIENCE = 60


def in_a_mount(mount: str, *command: object) -> "subprocess.CompletedProcess[str]":
    """Run a command where `mount` was done before, in a mount namespace of its own.

    Skips the test where nobody may mount anything.
    """
    script = f'({mount}) || exit 77; exec "$@"'
    words = ["unshare", "--mount", "--propagation", "private", "sh", "-c", script, "sh"]
    try:
        ended = subprocess.run(
            [*words, *map(str, command)],
            capture_output=True,
            text=True,
            timeout=PATIENCE,
            check=False,
        )
    except FileNotFoundError:
        pytest.skip("there is no `unshare` here")
    if ended.returncode == 77 or ended.stderr.startswith("unshare:"):
        pytest.skip(f"no file systems can be mounted here: {ended.stderr.strip()}")
    return ended


def small(folder: Path, size: str) -> str:
    """Return the command that puts a disk of that size in the place of a folder."""
    return f"mount -t tmpfs -o size={size} tmpfs '{folder}'"


def read_only(folder: Path) -> str:
    """Return the command that makes a folder read-only, for root as well."""
    return f"mount --bind '{folder}' '{folder}' && mount -o remount,ro,bind '{folder}'"
