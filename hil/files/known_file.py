"""Reading a file of known faults."""

from hil.core.event import KnownFault
from hil.core.instant import Instant
from hil.core.signal import Kind, Signal, show_number
from hil.files.duration import read_duration
from hil.files.known_shape import DAY, FAULT, FAULTS, KNOWN, SEEN, SPAN, WORDS
from hil.files.leaf import NAME, TITLE, WHOLE
from hil.files.mistake import Misread, Page, show
from hil.files.plan_shape import PATH
from hil.files.quantity import split_quantity, split_range, value_in
from hil.files.scope import Scope
from hil.files.tree import Node, Scalar
from hil.files.value import read_value

_TEXTS = ("fault", "reason", "reference", "plan", "case")

Range = tuple[str, str, str]
"""Low, high and unit, as the journal keeps them."""


def read_known_tree(root: Node, page: Page, scope: Scope) -> tuple[KnownFault, ...] | None:
    """Return the known faults; what is wrong with them stands on the page."""
    fields = KNOWN.open(root, page)
    if fields is None:
        return None
    TITLE.at(fields, "known-faults", page)
    found: list[KnownFault] = []
    if "faults" in fields:
        for entry in FAULTS.open(fields["faults"], page):
            fault = _read_fault(entry, page, scope)
            if fault is None:
                continue
            if any(other.fault == fault.fault for other in found):
                page.wrong(entry, f"there are two faults {show(fault.fault)}", "give each its name")
            found.append(fault)
    return tuple(found)


def _read_fault(entry: Node, page: Page, scope: Scope) -> KnownFault | None:
    fields = FAULT.open(entry, page)
    if fields is None:
        return None
    texts = {name: TITLE.at(fields, name, page) for name in _TEXTS}
    path = PATH.at(fields, "signal", page)
    measure = NAME.at(fields, "measure", page)
    step = WHOLE.at(fields, "step", page)
    until = DAY.at(fields, "until", page)
    if not fields.keys() & {"value", "one-of", "time"}:
        what = "a known fault needs a `value`, a `one-of` or a `time` that tells it from others"
        page.wrong(entry, what)
    values, ends = _read_seen(fields, path, measure, page, scope)
    span = _read_span(fields["time"], page) if "time" in fields else (None, None)
    if path is None or until is None or None in texts.values():
        return None
    return KnownFault(
        at=Instant(0),
        fault=texts["fault"] or "",
        reason=texts["reason"] or "",
        reference=texts["reference"] or "",
        plan=texts["plan"] or "",
        case=texts["case"] or "",
        signal=path,
        step=step,
        measure=measure or "",
        values=values,
        low=ends[0],
        high=ends[1],
        unit=ends[2],
        earliest=span[0],
        latest=span[1],
        until=until,
        place=str(page.mark(entry)),
    )


def _read_seen(
    fields: dict[str, Node], path: str | None, measure: str | None, page: Page, scope: Scope
) -> tuple[tuple[str, ...], Range]:
    """Return the texts that are the fault, or the range of numbers."""
    nothing: Range = ("", "", "")
    if path is None:
        return (), nothing
    text = SEEN.at(fields, "value", page)
    if measure is not None:
        _check_node(path, fields["signal"], page, scope)
        return (), nothing if text is None else _figure_range(text, fields["value"], page)
    signal = scope.find(path, fields["signal"], page)
    if signal is None:
        return (), nothing
    if text is not None and signal.kind is Kind.NUMBER:
        return (), _number_range(text, signal, fields["value"], page)
    places = [fields["value"]] if text is not None else []
    if "one-of" in fields:
        places = WORDS.open(fields["one-of"], page)
        if signal.kind is Kind.NUMBER:
            what = f"one-of: {path} is a number, expected a range under `value`"
            page.wrong(fields["one-of"], what)
            return (), nothing
    words = [_read_word(place, signal, page) for place in places]
    return tuple(word for word in words if word is not None), nothing


def _check_node(path: str, place: Node, page: Page, scope: Scope) -> None:
    """Check a signal that a measure names: it may be all readings of a node."""
    node, dot, rest = path.partition(".")
    if not (dot and rest == "readings" and node in scope.nodes):
        scope.find(path, place, page)


def _read_word(place: Node, signal: Signal, page: Page) -> str | None:
    word = TITLE.read(place, page, "value")
    if word is None:
        return None
    try:
        return str(read_value(word, signal))
    except Misread as misread:
        page.wrong(place, f"value: {misread.what}", misread.hint)
        return None


def _number_range(text: str, signal: Signal, place: Node, page: Page) -> Range:
    try:
        first, last = split_range(text) if " to " in text else (text, text)
        low, high = value_in(first, signal.unit), value_in(last, signal.unit)
        if low > high:
            raise Misread(f"{show(text)} runs backwards", f"{last} to {first}")
    except Misread as misread:
        page.wrong(place, f"value: {misread.what}", misread.hint)
        return "", "", ""
    return show_number(low), show_number(high), signal.unit


def _figure_range(text: str, place: Node, page: Page) -> Range:
    """Read the range of a figure: times as ns, others in the unit that is written."""
    try:
        first, last = split_range(text) if " to " in text else (text, text)
        try:
            low, high = str(read_duration(first)), str(read_duration(last))
            unit = other = "ns"
        except Misread:
            (number, unit), (number_, other) = (split_quantity(e, "5 %") for e in (first, last))
            low, high = show_number(number), show_number(number_)
        if unit != other:
            raise Misread(f"{show(text)} has two units", f"write both ends in {unit}")
        if float(low) > float(high):
            raise Misread(f"{show(text)} runs backwards", f"{last} to {first}")
    except Misread as misread:
        page.wrong(place, f"value: {misread.what}", misread.hint)
        return "", "", ""
    return low, high, unit


def _read_span(node: Node, page: Page) -> tuple[int | None, int | None]:
    text = SPAN.read(node, page, "time")
    if text is None or not isinstance(node, Scalar):
        return None, None
    try:
        first, last = split_range(text)
        begin, end = read_duration(first), read_duration(last)
        if begin > end:
            raise Misread(f"{show(text)} runs backwards", f"{last} to {first}")
    except Misread as misread:
        page.wrong(node, f"time: {misread.what}", misread.hint)
        return None, None
    return begin, end
