"""After a run: it is kept in the history, and whoever wants to know is told what changed.

Everything is judged and written by now, and the rack has been given back.  What goes wrong here
costs the history or the message, and never the verdict of the run.
"""

import contextlib
import os
import shlex
import signal
import subprocess
import traceback
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from hil.core.error import DescriptionError, StoreError
from hil.history.place import place_of
from hil.report.exit_code import ExitCode
from hil.runner.options import Options

if TYPE_CHECKING:
    from hil.history.change import Changes
    from hil.runner.run import Finished

TELLING_SECONDS = 30.0
"""How long the command of `--if-changed` may take."""

_TOLD = 200  # characters of what the command complained about


def remembered(finished: "Finished", options: Options) -> "Finished":
    """Keep a run, and tell what changed; return it with what went wrong added."""
    if not options.history:
        return finished
    try:
        changes = what_changed(options.history, keep(options.history, finished.folder))
    except (StoreError, DescriptionError) as error:
        return _with(finished, str(error), ExitCode.STORE)
    except Exception:
        code = max(finished.code, int(ExitCode.BUG))
        return replace(finished, code=code, crash=finished.crash or traceback.format_exc())
    from hil.history.message import as_text
    from hil.history.told import headline

    if not changes.worth_telling:
        return finished
    finished = replace(finished, changed=headline(changes))
    if not options.if_changed:
        return finished
    problem = tell(options.if_changed, as_text(changes))
    return replace(finished, faults=(*finished.faults, problem)) if problem else finished


def keep(history: str, folder: Path) -> str:
    """Keep the run in a folder; return its key.  Raises StoreError and DescriptionError."""
    from hil.history.keep import keep_run

    return keep_run(place_of(history), folder)


def keep_again(history: str, folder: Path) -> str:
    """Keep the run in a folder; return what went wrong, in words."""
    try:
        keep(history, folder)
    except (StoreError, DescriptionError) as error:
        return str(error)
    return ""


def what_changed(history: str, key: str) -> "Changes":
    """Return what a run that was kept has changed.  Raises StoreError and DescriptionError."""
    from hil.history.changed import changes
    from hil.history.runs import run_of_key
    from hil.history.shelf import reading_from

    with reading_from(history) as connection:
        return changes(connection, run_of_key(connection, key))


def tell(command: str, text: str, seconds: float = TELLING_SECONDS) -> str:
    """Call a command with a text on its standard input; return what went wrong, in words.

    No shell reads the command.  One that takes too long is ended with all it started.
    """
    words = shlex.split(command)
    try:
        called = subprocess.Popen(
            words,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )
    except (OSError, IndexError) as error:
        why = getattr(error, "strerror", None) or "there is no command"
        return f"{command}: nobody was told what changed: {why}"
    try:
        _, complaint = called.communicate(text.encode("utf-8", "backslashreplace"), seconds)
    except subprocess.TimeoutExpired:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(called.pid, signal.SIGKILL)
        called.communicate()
        return f"{command}: was ended after {seconds:g} s; perhaps nobody was told what changed"
    if called.returncode == 0:
        return ""
    said = complaint.decode("utf-8", "replace").strip()[-_TOLD:]
    return f"{command}: ended with {called.returncode}; perhaps nobody was told: {said}".rstrip(
        ": "
    )


def _with(finished: "Finished", fault: str, code: ExitCode) -> "Finished":
    faults = (*finished.faults, fault)
    return replace(finished, code=max(finished.code, int(code)), faults=faults)
