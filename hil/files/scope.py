"""What a plan can talk about: the signals of one rack, and what their wires can carry."""

from collections.abc import Callable
from typing import Any

from hil.core.signal import Kind, Signal, Value
from hil.files.grid import Grid, command_field, reading_fields
from hil.files.mistake import Misread, Page, nearest, show
from hil.files.shape import read_text
from hil.files.tree import Node
from hil.files.value import read_command
from hil.wire.rack import Encoding, Rack
from hil.wire.rack import Node as RackNode


class Scope:
    """The signals of a rack by full name, with tables of what was already read for them."""

    def __init__(self, rack: Rack) -> None:
        self.rack = rack
        self.signals = rack.signals()
        self.nodes = {node.name: node for node in rack.nodes}
        self.sensed: dict[str, Grid] = {}
        self.driven: dict[str, Grid] = {}
        self.known: dict[Any, Any] = {}
        """Tables of texts already read without a mistake; the readers choose the keys."""
        for node in rack.nodes:
            for signal in node.signals:
                self._add(node, signal)
        for path in rack.programs:
            self.sensed.setdefault(path, Grid(Encoding(), ""))
            self.driven[path] = Grid(Encoding(), "")

    def _add(self, node: RackNode, signal: Signal) -> None:
        encoding = node.encodings.get(signal.name, Encoding())
        number = signal.kind is Kind.NUMBER
        fields = reading_fields(node.layouts, signal.name)
        form = fields[0][0].form if fields and number else ""
        if node.coap is not None and number and signal.binary32:
            form = "f32"
        self.sensed[signal.path] = Grid(encoding, form)
        request = command_field(node.layouts, signal.kind is Kind.TEXT)
        form = request[0].form if request is not None and number else ""
        self.driven[signal.path] = Grid(encoding, form)

    def find(self, path: str, place: Node, page: Page) -> Signal | None:
        """Return a signal by its full name; None, with the mistake noted, where there is none."""
        signal = self.signals.get(path)
        if signal is not None:
            return signal
        node, dot, _ = path.partition(".")
        if node not in self.nodes:
            page.strangers.add(node)
        if dot:
            page.wrong(place, f"there is no signal {show(path)} on this bench", self._like(path))
        else:
            what = f"{show(path)} is not a signal of this bench, expected `node.signal`"
            page.wrong(place, what, nearest(path, self.nodes))
        return None

    def _like(self, path: str) -> str:
        """Return the signal most like a path: of the same node where that is known."""
        node, _, name = path.partition(".")
        if node not in self.nodes:
            return nearest(path, self.signals)
        names = [signal.name for signal in self.nodes[node].signals]
        near = nearest(name, names)
        return f"{node}.{near}" if near else ""

    def command(self, path: str, place: Node, node: Node, page: Page) -> Value | None:
        """Return what a signal is commanded to; every rule about commands is checked here."""
        text = node.text if hasattr(node, "text") else None
        key = (path, text)
        found: Value | None = self.known.get(key)
        if found is not None:
            return found
        signal = self.find(path, place, page)
        if signal is None:
            return None
        if signal.drive is None:
            page.wrong(place, f"{path} cannot be driven", self._driver_of(path))
            return None
        text = read_text(node, page, path, "a value")
        if text is None:
            return None
        program = signal.drive.program
        if program is not None and program.labels and text not in program.labels:
            what = f"{path}: the bench has no program for {show(text)}"
            page.wrong(node, what, nearest(text, program.labels) or ", ".join(program.labels))
            return None
        value: Value | None = attempt(
            lambda: read_command(text, signal, self.driven[path]), node, page, path
        )
        if value is not None:
            self.known[key] = value
        return value

    def _driver_of(self, path: str) -> str:
        """Return the driven signal that this one shows the place of."""
        for other, signal in self.signals.items():
            if signal.drive is not None and signal.drive.readback == path:
                return other
        return ""


def attempt(read: Callable[[], Any], place: Node, page: Page, name: str) -> Any:
    """Return what `read` returns; None, with the mistake noted, where it raises Misread."""
    try:
        return read()
    except Misread as misread:
        page.wrong(place, f"{name}: {misread.what}", misread.hint)
        return None
