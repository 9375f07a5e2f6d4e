"""`about.json`: who ran a run, where, when and with what; everything the journal leaves out.

The journal names no machine and no wall clock, so that two virtual runs are byte for byte the
same.  This small file beside it does, once, at the start.
"""

import json
import platform
import socket
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from pathlib import Path

import hil
from hil.report.store import write_whole

NAME = "about.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """The facts beside a journal; `started` is UTC as `YYYY-MM-DDThh:mm:ssZ`."""

    run: str
    started: str
    host: str
    tool: str
    python: str
    system: str
    command: tuple[str, ...]
    bench: str
    interface: str
    stamps: str


def describe(
    *,
    run: str,
    started: datetime,
    command: tuple[str, ...],
    bench: str,
    interface: str,
    stamps: str,
) -> About:
    """Collect the facts about this machine and this run."""
    return About(
        run=run,
        started=f"{started.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}",
        host=socket.gethostname(),
        tool=f"rackproof {hil.__version__}",
        python=platform.python_version(),
        system=platform.platform(),
        command=command,
        bench=bench,
        interface=interface,
        stamps=stamps,
    )


def write_about(folder: Path, about: About) -> None:
    """Write `about.json`.  Raises StoreError."""
    text = json.dumps(asdict(about), indent=2, ensure_ascii=False)
    write_whole(folder / NAME, f"{text}\n".encode("utf-8", "backslashreplace"))


def read_about(folder: Path) -> About | None:
    """Read `about.json` back; None where it is missing or no good."""
    try:
        shown = json.loads((folder / NAME).read_text(encoding="utf-8"))
        texts = {field.name: str(shown[field.name]) for field in fields(About)}
        command = tuple(str(word) for word in shown["command"])
        datetime.fromisoformat(texts["started"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    return About(**{**texts, "command": command})  # type: ignore[arg-type]
