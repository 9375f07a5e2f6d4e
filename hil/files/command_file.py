"""Reading the `commands` of a bench file: signals that the bench drives by programs.

They are for real racks.  Where the file has `software`, no program is ever run: the node itself
must have a drive of that name, and that is used.
"""

from collections.abc import Mapping
from dataclasses import replace

from hil.core.instant import SECOND, Duration
from hil.core.signal import Drive, Kind, Program, Signal
from hil.files.command_shape import ARGUMENT, ARGUMENTS, BY_LABEL, COMMAND, COMMANDS, RESTARTED
from hil.files.leaf import DOTTED, DURATION, FLAG, NAME, VALUE
from hil.files.mistake import Page, nearest, show
from hil.files.shape import Many
from hil.files.tree import Node, Scalar
from hil.wire.programs import PLACEHOLDER, Programs
from hil.wire.rack import Rack

WHOLE_RACK = "rack"
USUAL_BACK = Duration(10 * SECOND)

Fields = dict[str, Node]


def read_commands(place: Node, rack: Rack, page: Page) -> dict[str, Programs]:
    """Return the programs by signal; nothing where software stands in for the rack."""
    found: dict[str, Programs] = {}
    signals = rack.signals()
    for key, path, entry in COMMANDS.open(place, page):
        fields = COMMAND.open(entry, page)
        if fields is None or not _is_place(key, path, rack, page):
            continue
        programs = _Reader(key, path, fields, rack, page).read(signals.get(path))
        if programs is not None:
            found[path] = programs
    return {} if rack.software is not None else found


def _is_place(key: Scalar, path: str, rack: Rack, page: Page) -> bool:
    """Say whether a signal is of a node, or of the whole rack; note why not."""
    node, _, name = path.partition(".")
    names = [each.name for each in rack.nodes]
    if not name:
        page.wrong(key, f"{show(path)} is no signal, expected `node.signal` or `rack.signal`")
    elif node not in names and node != WHOLE_RACK:
        page.wrong(key, f"there is no node {show(node)} on this bench", nearest(node, names))
    elif DOTTED.read(key, page, "a signal") is not None:
        return True
    return False


class _Reader:
    """Reads the programs of one signal."""

    def __init__(self, key: Scalar, path: str, fields: Fields, rack: Rack, page: Page) -> None:
        self.key, self.path, self.fields, self.rack, self.page = key, path, fields, rack, page
        self.node, _, self.name = path.partition(".")

    def read(self, known: Signal | None) -> Programs | None:
        """Return the programs, on the signal as the node reports it where it does."""
        fields, page = self.fields, self.page
        before = page.count
        by_label = self._by_label()
        template = self._argv(fields["text"]) if "text" in fields else ()
        if "text" in fields and template and not any(PLACEHOLDER in part for part in template):
            what = "text: no argument has `{value}`, so every text would do the same"
            page.wrong(fields["text"], what, f"[./flash, {PLACEHOLDER}]")
        stays = "stays" in fields and FLAG.read(fields["stays"], page, "stays") is True
        if "stays" in fields and not stays:
            page.wrong(fields["stays"], "stays: `no` says nothing", "safe: run")
        safe = self._value("safe", by_label)
        rest = self._value("rest", by_label) if "rest" in fields else safe
        program = self._program(by_label, stays)
        self._check_known(known, by_label)
        if page.count > before or program is None:
            return None
        drive = Drive(safe=safe, rest=rest, actuator=False, program=program)
        if known is not None:
            signal = replace(known, drive=drive)
        else:
            signal = self._made(tuple(by_label), drive)
        return Programs(signal=signal, by_label=by_label, template=template)

    def _made(self, labels: tuple[str, ...], drive: Drive) -> Signal:
        kind = Kind.LABEL if labels else Kind.TEXT
        node, name = self.node, self.name
        return Signal(node=node, name=name, kind=kind, labels=labels, sensed=False, drive=drive)

    def _by_label(self) -> dict[str, tuple[str, ...]]:
        if "values" not in self.fields:
            return {}
        entries = BY_LABEL.open(self.fields["values"], self.page)
        return {label: self._argv(place) for _, label, place in entries}

    def _argv(self, place: Node) -> tuple[str, ...]:
        entries = ARGUMENTS.open(place, self.page)
        read = [ARGUMENT.read(entry, self.page, "an argument") for entry in entries]
        return tuple(part for part in read if part is not None)

    def _value(self, key: str, by_label: Mapping[str, object]) -> str:
        text = VALUE.at(self.fields, key, self.page)
        if text is not None and "values" in self.fields and text not in by_label:
            what = f"{key}: {show(text)} is not among the values, expected one of {_all(by_label)}"
            self.page.wrong(self.fields[key], what, nearest(text, by_label))
        return text or ""

    def _program(self, by_label: Mapping[str, object], stays: bool) -> Program | None:
        fields, page = self.fields, self.page
        within = DURATION.at(fields, "within", page)
        if within == 0:
            page.wrong(fields["within"], "within: expected more than 0 s")
        back = DURATION.at(fields, "back-within", page) if "back-within" in fields else USUAL_BACK
        if within is None or back is None:
            return None
        return Program(
            within=within,
            restarts=self._restarts(),
            back_within=back,
            labels=tuple(by_label),
            stays=stays,
        )

    def _restarts(self) -> tuple[str, ...]:
        names = [node.name for node in self.rack.nodes]
        if "restarts" not in self.fields:
            return (self.node,) if self.node in names else tuple(names)
        place = self.fields["restarts"]
        many = RESTARTED.shapes[1]
        assert isinstance(many, Many)
        entries = [place] if isinstance(place, Scalar) else many.open(place, self.page)
        found = []
        for entry in entries:
            name = NAME.read(entry, self.page, "restarts")
            if name is not None and name not in names:
                what = f"there is no node {show(name)} on this bench"
                self.page.wrong(entry, what, nearest(name, names))
            elif name is not None:
                found.append(name)
        return tuple(dict.fromkeys(found))

    def _check_known(self, known: Signal | None, by_label: Mapping[str, object]) -> None:
        """Hold the values to what the node itself reports, or can be driven to."""
        software = self.rack.software is not None
        if known is None or (software and known.drive is None):
            if software:
                what = f"with `software` no program is run, and {self.path} has no drive of its own"
                self.page.wrong(self.key, what, "leave it out here, or give the signal a `drive`")
            return
        kind = Kind.LABEL if by_label else Kind.TEXT
        if known.kind is not kind and ("values" in self.fields or "text" in self.fields):
            self.page.wrong(self.key, f"{self.path} is a {known.kind.value} to its node")
        for label in by_label if known.kind is Kind.LABEL else ():
            if label not in known.labels:
                what = f"{show(label)} is no label of {self.path}, expected {_all(known.labels)}"
                self.page.wrong(self.key, what, nearest(label, known.labels))


def _all(labels: Mapping[str, object] | tuple[str, ...]) -> str:
    return ", ".join(f"`{label}`" for label in labels)
