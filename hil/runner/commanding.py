"""What somebody wants driven, from the words of a command line: `SIGNAL VALUE [SIGNAL VALUE ...]`.

The words are read by what reads the stimuli of a plan, so that all of its rules hold: a signal
that can be driven, its own unit or one that fits, its range, and a value that its wire can carry.

    feedline.pressure '9.0 bar' tile.caption 'DOORS OPEN'
    feedline.pressure 9.0 bar louvres.vane-1.angle -20 deg
"""

import re
from collections.abc import Sequence

from hil.core.error import DescriptionError
from hil.core.plan import Stimulus
from hil.files.mistake import Page, show
from hil.files.scope import Scope
from hil.files.tree import Scalar
from hil.runner.naming import COMMAND_LINE
from hil.wire.rack import Rack

_PATH = re.compile(r"[A-Za-z][\w-]*\.[A-Za-z][\w.-]*")


def read_stimuli(rack: Rack, words: Sequence[str]) -> tuple[Stimulus, ...]:
    """Return the stimuli that the words ask for.  Raises DescriptionError with all mistakes."""
    page, scope = Page(COMMAND_LINE, b""), Scope(rack)
    stimuli: dict[str, Stimulus] = {}
    for path, text in _pairs(words, scope):
        key = Scalar(path, False, 0, 0)
        if text is None:
            name, _, given = path.partition("=")  # as many other commands want it
            page.wrong(key, f"{show(name)} has no value", f"{name} {given or 'VALUE'}")
            continue
        value = scope.command(path, key, Scalar(text, False, 0, 0), page)
        if path in stimuli:
            page.wrong(key, f"{path} stands here twice")
        if value is not None:
            stimuli[path] = Stimulus(signal=path, value=value, mark=page.mark(key))
    if page.mistakes:
        raise DescriptionError(page.mistakes)
    return tuple(stimuli.values())


def _pairs(words: Sequence[str], scope: Scope) -> list[tuple[str, str | None]]:
    """Return signals with their values: a value is everything up to the next signal."""
    pairs: list[tuple[str, list[str]]] = []
    for word in words:
        if not pairs or (pairs[-1][1] and _is_signal(word, scope)):
            pairs.append((word, []))
        else:
            pairs[-1][1].append(word)
    return [(path, " ".join(value) if value else None) for path, value in pairs]


def _is_signal(word: str, scope: Scope) -> bool:
    return word in scope.signals or _PATH.fullmatch(word) is not None
