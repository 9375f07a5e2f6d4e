"""What a proof drives for an alarm spec: what must be given, and how things are brought about."""

from decimal import Decimal

from hil.alarms.means import PROVOKED, Line, Means, Way
from hil.core.signal import Signal, Value
from hil.files.alarm_shape import DRIVEN_BY, PROVOKE
from hil.files.alarm_sheet import Fields, Sheet
from hil.files.leaf import QUANTITY
from hil.files.plan_shape import PATH, STIMULI
from hil.files.quantity import value_in
from hil.files.scope import attempt
from hil.files.tree import Map, Node
from hil.files.value import check_range


def read_commands(fields: Fields, key: str, sheet: Sheet) -> tuple[tuple[str, Value], ...]:
    """Return commands to signals: values that their wires can carry."""
    node = fields.get(key)
    if node is None or not STIMULI.open(node, sheet.page) or not isinstance(node, Map):
        return ()
    commands: list[tuple[str, Value]] = []
    for path, value in node.pairs.values():
        command = sheet.scope.command(path.text, path, value, sheet.page)
        if command is not None:
            commands.append((path.text, command))
    return tuple(commands)


def read_means(fields: Fields, sheet: Sheet) -> Means | None:
    """Return by what things are brought about; None where nothing is stated."""
    if "provoke" not in fields:
        return None
    node, page = fields["provoke"], sheet.page
    keys = PROVOKE.open(node, page) or {}
    ways = []
    for what in PROVOKED:
        commands = read_commands(keys, what, sheet)
        ways += [Way(what=what, signal=path, value=value) for path, value in commands[:1]]
        if len(commands) > 1:
            page.wrong(keys[what], f"{what}: expected one signal with its value, got several")
    line = _line(keys["driven-by"], sheet) if "driven-by" in keys else None
    return Means(ways=tuple(ways), mark=page.mark(node), line=line)


def _line(node: Node, sheet: Sheet) -> Line | None:
    keys = DRIVEN_BY.open(node, sheet.page) or {}
    path = PATH.at(keys, "signal", sheet.page)
    signal = None if path is None else sheet.scope.find(path, keys["signal"], sheet.page)
    if signal is None:
        return None
    if signal.drive is None or not signal.unit:
        sheet.page.wrong(keys["signal"], f"{path} is not a number that can be driven")
        return None
    low, high = (_end(keys, key, signal, sheet) for key in ("at-low", "at-high"))
    if low is None or high is None:
        return None
    if low == high:
        sheet.page.wrong(keys["at-high"], "at-high: the same as at-low, so nothing would change")
    return Line(signal=signal.path, at_low=low, at_high=high)


def _end(keys: Fields, key: str, signal: Signal, sheet: Sheet) -> Decimal | None:
    text = QUANTITY.at(keys, key, sheet.page)
    if text is None:
        return None

    def read() -> Decimal:
        value = value_in(text, signal.unit)
        check_range(value, signal)
        return value

    end: Decimal | None = attempt(read, keys[key], sheet.page, key)
    return end
