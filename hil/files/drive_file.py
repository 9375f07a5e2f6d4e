"""The `drive` of a signal in a bench file: how the tool may drive it, and where it must end."""

from collections.abc import Container
from dataclasses import replace
from decimal import Decimal

from hil.core.instant import ZERO
from hil.core.signal import Drive, Kind, Signal, Value
from hil.files.accuracy_file import read_difference
from hil.files.bench_shape import DRIVE
from hil.files.fit import check_field
from hil.files.grid import Grid, command_field
from hil.files.leaf import DOTTED, DURATION, FLAG, QUANTITY, VALUE, WHOLE
from hil.files.mistake import Misread, Page, nearest, show
from hil.files.quantity import rate_in
from hil.files.signal_file import SignalText
from hil.files.tree import Node
from hil.files.unit import read_unit
from hil.files.value import read_command
from hil.wire.rack import Field, Layout


def add_drive(
    found: SignalText,
    signals: dict[str, SignalText],
    declared: set[str],
    layouts: tuple[Layout, ...],
    page: Page,
    words: Container[str] | None = None,
) -> None:
    """Read how a signal may be driven, now that the other signals of its node are known.

    `declared` names them all, also those that could not be read; `words` are those that are
    driven by words instead of a layout, None where the node has layouts.
    """
    if found.drive is None:
        return
    keys = DRIVE.open(found.drive, page)
    if keys is None:
        return
    signal = found.signal
    field = command_field(layouts, signal.kind is Kind.TEXT)
    if not _can_be_sent(found, keys, field, words, page):
        return
    if signal.kind is Kind.NUMBER and not found.ranged:
        page.wrong(found.place, f"{signal.path} is driven, so it needs a `range`")
        return
    if found.sound and field is not None:
        check_field(signal, found.encoding, field[0], field[1], found.place, page)
    found.operation = WHOLE.at(keys, "operation", page)
    counted = signal.kind is Kind.NUMBER and found.sound
    grid = Grid(found.encoding, field[0].form if counted and field is not None else "")
    safe = _value("safe", keys, signal, grid, page)
    rest = _value("rest", keys, signal, grid, page) if "rest" in keys else safe
    readback, tolerance = _readback(keys, signal, signals, declared, page)
    actuator = FLAG.read(keys["actuator"], page, "actuator") if "actuator" in keys else True
    settle = DURATION.read(keys["settle"], page, "settle") if "settle" in keys else ZERO
    rate = _rate(keys, signal, page)
    if safe is None or rest is None or (found.operation is None and words is None):
        return
    drive = Drive(
        safe=safe,
        rest=rest,
        actuator=actuator is not False,
        rate=rate,
        readback=readback,
        readback_tolerance=tolerance,
        settle=settle or ZERO,
    )
    found.signal = replace(signal, drive=drive)


def _can_be_sent(
    found: SignalText,
    keys: dict[str, Node],
    field: tuple[Field, int] | None,
    words: Container[str] | None,
    page: Page,
) -> bool:
    """See that the node has a request, or a command, that drives the signal."""
    signal, place = found.signal, found.drive
    assert place is not None
    if words is not None:
        if "operation" in keys:
            page.wrong(keys["operation"], "operation: the node has no layouts, so it knows none")
        if signal.name not in words:
            what = f"{signal.path} is driven, but no command of the console says how"
            page.wrong(place, what, f"commands: {{{signal.name}: 'set {signal.name} {{value}}'}}")
        return True
    if field is None:
        word = "text" if signal.kind is Kind.TEXT else "a number"
        page.wrong(place, f"no request of the node has a value that is {word}")
        return False
    if "operation" not in keys:
        page.wrong(place, "a drive lacks the key `operation`: the operation that drives it")
    return True


def _value(key: str, keys: dict[str, Node], signal: Signal, grid: Grid, page: Page) -> Value | None:
    if key not in keys:
        return None
    node = keys[key]
    text = VALUE.read(node, page, key)
    if text is None:
        return None
    try:
        return read_command(text, signal, grid)
    except Misread as misread:
        page.wrong(node, f"{key}: {misread.what}", misread.hint)
        return None


def _rate(keys: dict[str, Node], signal: Signal, page: Page) -> Decimal | None:
    if "rate" not in keys:
        return None
    text = QUANTITY.read(keys["rate"], page, "rate")
    if text is None:
        return None
    if signal.kind is not Kind.NUMBER:
        page.wrong(keys["rate"], f"a {signal.kind.value} has no rate")
        return None
    try:
        rate = rate_in(text, signal.unit)
    except Misread as misread:
        page.wrong(keys["rate"], f"rate: {misread.what}", misread.hint)
        return None
    if rate <= 0:
        page.wrong(keys["rate"], f"rate: {show(text)} would never get anywhere")
        return None
    return rate


def _readback(
    keys: dict[str, Node],
    signal: Signal,
    signals: dict[str, SignalText],
    declared: set[str],
    page: Page,
) -> tuple[str | None, Decimal]:
    if "readback" not in keys:
        return None, Decimal(0)
    name = DOTTED.read(keys["readback"], page, "readback")
    if name is None:
        return None, Decimal(0)
    shown = signals.get(name)
    if shown is None and name in declared:
        return None, Decimal(0)
    if shown is None:
        what = f"readback: {signal.node} has no signal {show(name)}"
        page.wrong(keys["readback"], what, nearest(name, signals))
        return None, Decimal(0)
    if not shown.signal.sensed:
        page.wrong(keys["readback"], f"readback: {show(name)} is in no reading, so nobody sees it")
    if shown.signal.kind is not signal.kind:
        what = f"readback: {show(name)} is a {shown.signal.kind.value}, not a {signal.kind.value}"
        page.wrong(keys["readback"], what)
    elif not _alike(shown.signal.unit, signal.unit):
        what = f"readback: {show(name)} is in {shown.signal.unit}, not in {signal.unit}"
        page.wrong(keys["readback"], what)
    tolerance: Decimal | None = Decimal(0)
    if "readback-tolerance" in keys:
        node = keys["readback-tolerance"]
        if signal.kind is not Kind.NUMBER:
            page.wrong(node, f"a {signal.kind.value} has no tolerance")
        else:
            tolerance = read_difference(node, signal.unit, "readback-tolerance", page)
    return shown.signal.path, tolerance or Decimal(0)


def _alike(one: str, other: str) -> bool:
    """Say whether numbers in two units mean the same; what is wrong with a unit is told elsewhere."""
    try:
        return one == other or read_unit(one) == read_unit(other)
    except Misread:
        return True
