"""What the consoles said during an attempt at a case: the beginning and the end of it.

While a case is on, a few of the first and of the last lines of every console are kept, and how
many there were, however many that is.  Of a case that did not pass, those of the nodes concerned
go into the reports: nodes that were checked, commanded, or blamed.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

from hil.core.count import counted
from hil.core.event import CheckDecided, CommandLogged, ConsoleLine, Event
from hil.report.console_log import log_name
from hil.report.visible import visible_line

HEAD, TAIL = 20, 40
TOLD = 8
"""So many lines of a console are told on the terminal."""

WIDEST = 200


@dataclass(slots=True)
class ConsoleTale:
    """What one console said; `count` lines and `size` octets in all, `began` when the case did."""

    node: str
    began: int
    head: list[tuple[int, str]] = field(default_factory=list)
    tail: deque[tuple[int, str]] = field(default_factory=lambda: deque(maxlen=TAIL))
    count: int = 0
    size: int = 0
    marked: tuple[int, list[tuple[int, str]]] | None = None

    def mark(self) -> None:
        """Something went wrong here: the lines before it are those to be told first."""
        if self.marked is None:
            self.marked = self.count, [*self.head, *self.tail]

    def receive(self, line: ConsoleLine) -> None:
        """Take one more line."""
        self.count += 1
        self.size += len(line.text) + 1
        text = line.text if len(line.text) <= WIDEST else f"{line.text[:WIDEST]}…"
        shown = (line.at, f"> {text}" if line.way == "out" else text)
        if len(self.head) < HEAD:
            self.head.append(shown)
        else:
            self.tail.append(shown)

    def last(self, most: int) -> list[str]:
        """Tell the last lines before something went wrong, each text once, under a heading.

        What is asked again and again would fill them otherwise.
        """
        count, known = self.marked or (self.count, [*self.head, *self.tail])
        latest = {text: (at, text) for at, text in known}
        lines = sorted(latest.values(), key=lambda line: line[0])[-most:]
        which = f"the last {len(lines)} different lines of {count}" if count > len(lines) else "all"
        before = " before that" if self.marked is not None else ""
        heading = f"console of {self.node}, {which}{before}:"
        return [visible_line(heading), *(f"    {text}" for text in self._timed(lines))]

    def whole(self) -> list[str]:
        """Tell beginning and end, and what was left out between."""
        told = counted(self.count, "line")
        lines = [visible_line(f"console of {self.node}, {told}:")]
        lines += [f"    {text}" for text in self._timed(self.head)]
        left = self.count - len(self.head) - len(self.tail)
        if left:
            size = self.size - sum(len(text) for _, text in (*self.head, *self.tail))
            where = f"all of it is in {log_name(self.node)}, or that name with .gz"
            lines.append(f"    … {counted(left, 'line')}, {_megabytes(size)} left out, {where} …")
        return lines + [f"    {text}" for text in self._timed(self.tail)]

    def _timed(self, lines: "list[tuple[int, str]] | deque[tuple[int, str]]") -> Iterator[str]:
        for at, text in lines:
            yield f"{(at - self.began) / 1e9:9.3f} s  {visible_line(text)}"


def _megabytes(size: int) -> str:
    """Render a size in the largest unit that leaves a whole number.

    >>> _megabytes(399_600_000), _megabytes(2_100), _megabytes(7)
    ('399 MB', '2 kB', '7 octets')
    """
    if size >= 1_000_000:
        return f"{size // 1_000_000} MB"
    return f"{size // 1_000} kB" if size >= 1_000 else f"{size} octets"


class ConsoleFold:
    """Follows the consoles during one attempt after the other."""

    def __init__(self) -> None:
        self._tales: dict[str, ConsoleTale] = {}
        self._concerned: set[str] = set()
        self._began: int | None = None

    def begin(self, at: int) -> None:
        """A new attempt begins."""
        self._tales.clear()
        self._concerned.clear()
        self._began = at

    def receive(self, event: Event) -> None:
        """Take in an event of the attempt."""
        if isinstance(event, ConsoleLine):
            if self._began is not None:
                tale = self._tales.get(event.node)
                if tale is None:
                    tale = self._tales[event.node] = ConsoleTale(event.node, self._began)
                tale.receive(event)
        elif isinstance(event, CheckDecided):
            self._concerned.add(event.node)
            if event.outcome != "pass":
                for tale in self._tales.values():
                    tale.mark()
        elif isinstance(event, CommandLogged):
            self._concerned.add(event.signal.partition(".")[0])

    def end(self, blamed: tuple[str, ...]) -> tuple[ConsoleTale, ...]:
        """The attempt is over; return what the consoles of the nodes concerned said."""
        concerned = self._concerned.union(blamed)
        tales = tuple(tale for name, tale in sorted(self._tales.items()) if name in concerned)
        self._tales, self._began = {}, None
        return tales

    @property
    def so_far(self) -> tuple[ConsoleTale, ...]:
        """What the consoles of the nodes concerned have said in an attempt that goes on."""
        names = self._concerned
        return tuple(tale for name, tale in sorted(self._tales.items()) if name in names)
