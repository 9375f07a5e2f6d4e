"""The small program behind a software node's console: what it prints, what it understands.

    id                  id serial=DS-0201 firmware=2.3.0
    status              status rate=125 valve=open tank=800 flow=124 state=dosing ...
    set rate 125        ok rate=125
    set rate 9999       err rate goes from 0 to 600
    anything else       err what is anything else?

Numbers stand there as raw numbers, states by their names.  `misfits` sees that the patterns of a
bench file fit this program.
"""

from collections.abc import Iterator, Mapping
from decimal import Decimal

from hil.core.signal import Kind, Signal, Validity, Value
from hil.nodes.misfit import Misfit
from hil.wire.console.description import Console
from hil.wire.console.wording import phrase, understood
from hil.wire.encoding import WireError
from hil.wire.rack import Node

PROMPT = "> "


class LineProgram:
    """The words of one node."""

    def __init__(self, node: Node, firmware: str) -> None:
        self.node = node
        self._firmware = firmware
        self._signals = {signal.name: signal for signal in node.signals}

    def boot(self, boots: int) -> str:
        """Return the line printed when it has booted."""
        return f"boot {boots}: {self.node.name} {self._firmware} ready"

    @property
    def prompt(self) -> str:
        """What stands there while it waits for a command."""
        return f"{self.node.name}{PROMPT}"

    def identity(self) -> str:
        """Return the answer to `id`."""
        return f"id serial={self.node.identity.serial} firmware={self._firmware}"

    def status(self, values: Mapping[str, Value | None], boots: int) -> str:
        """Return the answer to `status`."""
        shown = [f"{name}={self.word(name, values[name])}" for name in self._signals]
        return f"status boots={boots} {' '.join(shown)}"

    def word(self, name: str, value: Value | None) -> str:
        """Return a value as it stands on the line."""
        if value is None:
            return "-"
        template, signal = "{value}", self._signals[name]
        return phrase(template, signal, self.node.encodings[name], value, b"").decode()

    def command(self, text: str) -> tuple[str, Value | None, str]:
        """Return which signal a line drives, to what, or in words why it is no command."""
        verb, _, rest = text.partition(" ")
        name, _, word = rest.partition(" ")
        signal = self._signals.get(name)
        if verb != "set" or signal is None or signal.drive is None:
            return "", None, f"err what is {text}?"
        value, validity, _ = understood(word, signal, self.node.encodings[name])
        if validity is not Validity.VALID or value is None:
            return name, None, f"err {self._limits(signal)}"
        return name, value, f"ok {name}={self.word(name, value)}"

    def _limits(self, signal: Signal) -> str:
        if signal.kind is Kind.LABEL:
            return f"{signal.name} is one of {', '.join(signal.labels)}"
        low, high = (
            "-" if end is None else self.word(signal.name, end) for end in (signal.low, signal.high)
        )
        return f"{signal.name} goes from {low} to {high}"


def misfits(node: Node, console: Console, firmware: str) -> Iterator[Misfit]:
    """Name every pattern and command of a bench file that this program does not fit."""
    program = LineProgram(node, firmware)
    place = ("nodes", node.name, "console")
    values: dict[str, Value | None] = {signal.name: _some(signal) for signal in node.signals}
    said = [("boot", console.boot, program.boot(1))]
    said += [("prompt", console.prompt, program.prompt)]
    if console.identify is not None:
        said += [("identify", console.identify.answer, program.identity())]
    for key, pattern, text in said:
        if pattern is not None and pattern.fullmatch(text) is None:
            yield Misfit(what=f"software: {key}: it says {text!r}", place=(*place, key))
    status = program.status(values, 1)
    if console.readings and not any(pattern.fullmatch(status) for pattern in console.readings):
        yield Misfit(what=f"software: readings: it says {status!r}", place=(*place, "readings"))
    questions = (("identify", console.identify, "id"), ("read", console.read, "status"))
    for key, question, wanted in questions:
        if question is not None and question.send != wanted:
            what = f"software: {key}: it knows {wanted!r}, not {question.send!r}"
            yield Misfit(what=what, place=(*place, key, "send"))
    yield from _command_misfits(program, console, place)


def _command_misfits(
    program: LineProgram, console: Console, place: tuple[str, ...]
) -> Iterator[Misfit]:
    signals = {signal.name: signal for signal in program.node.signals}
    for name, words in console.commands.items():
        signal, encoding = signals[name], program.node.encodings[name]
        value = _some(signal)
        try:
            text = phrase(words.send, signal, encoding, value, b"").decode()
        except WireError:
            continue
        meant, got, answer = program.command(text)
        if (meant, got) != (name, value):
            what = f"software: {name}: it does not take {text!r} for that: {answer!r}"
            yield Misfit(what=what, hint=f"set {name} {{value}}", place=(*place, "commands", name))
        elif words.accept.fullmatch(answer) is None:
            what = f"software: {name}: it answers {answer!r}, which is no `accept`"
            yield Misfit(what=what, place=(*place, "commands", name))


def _some(signal: Signal) -> Value:
    """Return some value that a signal can have."""
    if signal.kind is Kind.LABEL:
        return signal.labels[0]
    if signal.kind is Kind.TEXT:
        return "text"
    if signal.drive is not None and isinstance(signal.drive.safe, Decimal):
        return signal.drive.safe
    return signal.low if signal.low is not None else Decimal(0)
