"""Lines of a console as `hil wire` prints them: what each is by the bench file's patterns."""

from collections.abc import Iterator, Sequence

from hil.core.count import counted
from hil.report.line import Line, Tone
from hil.report.visible import visible_line
from hil.wire.console.recognition import Recognised, recognise
from hil.wire.rack import Node

_SHOWN = 400


def console_text(nodes: Sequence[Node], octets: bytes) -> tuple[bool, list[Line]]:
    """Return whether octets are lines that one of these consoles says, and what is to be told.

    Nothing is told where no node has a console.
    """
    heard = [(node, recognise(node, octets)) for node in nodes if node.console is not None]
    if not heard:
        return False, []
    node, lines = max(heard, key=lambda pair: sum(bool(line.what) for line in pair[1]))
    told: list[Line] = []
    for line in lines:
        told += [(), *_told(node, line)] if told else _told(node, line)
    return bool(lines) and all(line.what for line in lines), told


def _told(node: Node, line: Recognised) -> Iterator[Line]:
    size = counted(len(line.octets), "octet")
    whose = f"a line on the console of {node.name}, {size}: "
    if line.what:
        yield ((whose, Tone.PLAIN), (line.what, Tone.GOOD))
    else:
        yield ((whose, Tone.PLAIN), ("it fits no pattern of the bench file: log", Tone.BAD))
    text = visible_line(line.text)
    yield ((f"  {text if len(text) <= _SHOWN else f'{text[:_SHOWN]}...'}", Tone.STRONG),)
    if not line.parts:
        return
    yield ()
    names = max(len(name) for name, _, _ in line.parts)
    words = max(len(visible_line(word)) for _, word, _ in line.parts)
    for name, word, meant in line.parts:
        row = f"  {name:<{names}}  {visible_line(word):<{words}}  {visible_line(meant)}".rstrip()
        yield ((row, Tone.PLAIN),)
