"""Signals as people name them on the command line.

    feedline.pressure    one signal
    feedline             all of a node
    mast.*  *.fault      a pattern, as of a shell
    nothing              all of the rack

Only what can be seen can be looked at: a signal that is in no reading is refused where it is
named, and left out where a pattern or a node's name stands for it.
"""

from collections.abc import Iterable, Sequence
from fnmatch import fnmatchcase

from hil.core.error import DescriptionError, Mark, Mistake
from hil.core.signal import Signal
from hil.files.mistake import nearest, show
from hil.wire.rack import Rack

COMMAND_LINE = "command line"
_WILD = frozenset("*?[")


def named_signals(rack: Rack, words: Sequence[str]) -> tuple[Signal, ...]:
    """Return the signals that these words stand for, each once, in the order of the words.

    Raises DescriptionError with everything that is wrong with any of them.
    """
    signals = rack.signals()
    found: dict[str, Signal] = {}
    mistakes: list[Mistake] = []
    for word in words or ("*",):
        matching = _matching(word, rack, signals)
        seen = [signal for signal in matching if signal.sensed]
        if not seen:
            mistakes.append(_mistake(word, rack, signals, matching))
        found |= {signal.path: signal for signal in seen}
    if mistakes:
        raise DescriptionError(mistakes)
    return tuple(found.values())


def _matching(word: str, rack: Rack, signals: dict[str, Signal]) -> list[Signal]:
    if word in signals:
        return [signals[word]]
    if any(node.name == word for node in rack.nodes):
        return [signal for signal in signals.values() if signal.node == word]
    if _WILD & set(word):
        return [signal for path, signal in signals.items() if fnmatchcase(path, word)]
    return []


def _mistake(
    word: str, rack: Rack, signals: dict[str, Signal], matching: Iterable[Signal]
) -> Mistake:
    mark = Mark(COMMAND_LINE)
    if list(matching):
        return Mistake(mark, f"{word} is in no reading of its node, so nobody can see it")
    if _WILD & set(word):
        node = word.partition(".")[0]
        names = [one.name for one in rack.nodes]
        near = f"{node}.*" if node in names else ""
        return Mistake(mark, f"no signal of this bench fits {show(word)}", near)
    return Mistake(
        mark, f"there is no signal {show(word)} on this bench", _near(word, rack, signals)
    )


def _near(word: str, rack: Rack, signals: dict[str, Signal]) -> str:
    """Return the names most like a word: the whole, the node, or a signal's own name."""
    node, _, name = word.partition(".")
    own = [signal for signal in signals.values() if signal.node == node]
    if own and name:
        near = nearest(name, [signal.name for signal in own])
        return f"{node}.{near}" if near else f"{node}.* has {', '.join(s.name for s in own)}"
    bare = [path for path, signal in signals.items() if signal.name == word]
    if bare:
        return " or ".join(bare[:4])
    nodes = [one.name for one in rack.nodes]
    return (not name and nearest(word, nodes)) or nearest(word, signals) or nearest(word, nodes)
