"""Reading an alarm spec file into `Spec`s.

Levels are read into the unit of the spec's signal, whatever unit they are written in; for a
comparison (`own_units`) into the unit that the spec itself states.
"""

from decimal import Decimal

from hil.alarms.spec import FAULT, SILENT, STALE, START_UP, Meaning, Paint, Spec
from hil.core.signal import Kind, Signal
from hil.files import alarm_rule as rule
from hil.files import alarm_shape as shape
from hil.files.alarm_band import read_bands
from hil.files.alarm_means import read_commands, read_means
from hil.files.alarm_sheet import Fields, Sheet, find, texts
from hil.files.alarm_show import read_indicators
from hil.files.alarm_show_shape import RGB
from hil.files.leaf import DURATION, NAME, RANGE, TITLE
from hil.files.mistake import Misread, Page, show
from hil.files.quantity import show_quantity, split_range, value_in
from hil.files.scope import Scope
from hil.files.tree import Node


def read_alarms_tree(
    root: Node, page: Page, scope: Scope, own_units: bool = False
) -> tuple[Spec, ...]:
    """Return the specs of a file that could be read; what is wrong stands on the page."""
    fields = shape.ALARMS.open(root, page)
    if fields is None:
        return ()
    TITLE.at(fields, "alarms", page)
    paints = _paints(fields, page)
    found: list[Spec] = []
    names: dict[str, Node] = {}
    for node in shape.SPECS.open(fields["specs"], page) if "specs" in fields else ():
        keys = shape.SPEC.open(node, page)
        if keys is None:
            continue
        name = TITLE.at(keys, "spec", page)
        if name is not None and names.setdefault(name, node) is not node:
            what = f"the name {show(name)} is taken, by the spec in line {names[name].line}"
            page.wrong(keys["spec"], what, "give each spec a name of its own")
        spec = _read_spec(name or "", node, keys, paints, page, scope, own_units)
        if spec is not None:
            found.append(spec)
    return tuple(found)


def _paints(fields: Fields, page: Page) -> dict[str, Paint]:
    paints: dict[str, Paint] = {}
    for _, name, node in shape.PAINTS.open(fields["colours"], page) if "colours" in fields else ():
        keys = shape.PAINT.open(node, page) or {}
        rgb = RGB.at(keys, "rgb", page)
        means = shape.MEANS.at(keys, "means", page)
        meaning = Meaning[means.upper()] if means is not None else None
        if rgb is not None:
            paints[name] = Paint(name=name, rgb=rgb, mark=page.mark(node), meaning=meaning)
    return paints


def _read_spec(
    name: str,
    node: Node,
    fields: dict[str, Node],
    paints: dict[str, Paint],
    page: Page,
    scope: Scope,
    own_units: bool,
) -> Spec | None:
    """Return one spec; everything that can be read is read, so that every mistake is found."""
    before = page.count
    signal = _input(fields, page, scope)
    if signal is None:
        return None
    unit = _unit(fields, signal, page)
    sheet = Sheet(page, scope, signal, unit if own_units else signal.unit, paints)
    span = _range(fields, signal, sheet)
    bands = read_bands(fields, sheet) or ()
    display = rule.read_display(fields, sheet)
    no_reading = rule.read_no_reading(fields, sheet) if "no-reading" in fields else None
    start_up = rule.read_start_up(fields, sheet) if START_UP in fields else None
    latch = rule.read_latch(fields, bands, sheet)
    tolerance = rule.read_tolerance(fields, sheet) if "tolerance" in fields else None
    decides = _decides(fields, page)
    colours = {band.name: band.colour for band in bands}
    if no_reading is not None:
        colours[FAULT] = no_reading.fault_colour
        colours[STALE] = no_reading.stale_colour
        colours[SILENT] = no_reading.silent_colour
    if start_up is not None:
        colours[START_UP] = start_up.colour
    indicators = read_indicators(fields, colours, display, sheet)
    accepted = rule.read_acceptances(fields, sheet)
    given = read_commands(fields, "given", sheet)
    means = read_means(fields, sheet)
    agreement = DURATION.at(fields, "agree-within", page)
    normal = NAME.at(fields, "normal", page)
    quantity = shape.QUANTITY_KIND.at(fields, "quantity", page)
    requirements = texts(fields, "requirement", page)
    if page.count > before or span is None or no_reading is None or start_up is None:
        return None
    if tolerance is None or agreement is None or normal is None or normal not in colours:
        return None
    return Spec(
        name=name,
        signal=signal.path,
        unit=sheet.unit,
        low=span[0],
        high=span[1],
        bands=bands,
        normal=normal,
        displayed_decides=decides,
        no_reading=no_reading,
        start_up=start_up,
        indicators=indicators,
        agreement=agreement,
        tolerance=tolerance,
        mark=page.mark(node),
        display=display,
        latch=latch,
        quantity=quantity or "",
        requirements=requirements,
        accepted=accepted,
        palette=tuple(paints.values()),
        given=given,
        means=means,
    )


def _input(fields: Fields, page: Page, scope: Scope) -> Signal | None:
    if "signal" not in fields:
        return None
    return find(fields["signal"], "signal", (Kind.NUMBER,), scope, page)


def _unit(fields: Fields, signal: Signal, page: Page) -> str:
    """Return the unit in which the author thinks; it must be one of the signal's quantity."""
    unit = TITLE.at(fields, "unit", page)
    if unit is None:
        return signal.unit
    try:
        value_in(f"1 {unit}", signal.unit)
    except Misread as misread:
        page.wrong(fields["unit"], f"unit: {misread.what}", misread.hint)
        return signal.unit
    return unit


def _range(fields: Fields, signal: Signal, sheet: Sheet) -> tuple[Decimal, Decimal] | None:
    """Return the range that the bands must cover, in the unit of the sheet."""
    page = sheet.page
    text = RANGE.at(fields, "range", page)
    whole = [
        None if end is None else value_in(show_quantity(end, signal.unit), sheet.unit)
        for end in (signal.low, signal.high)
    ]
    if text is None:
        if whole[0] is None or whole[1] is None:
            what = f"{signal.path} declares no range, so the spec needs one"
            page.wrong(fields["signal"], what, f"range: 0 {sheet.unit} to 10 {sheet.unit}")
            return None
        return whole[0], whole[1]
    try:
        low, high = (value_in(end, sheet.unit) for end in split_range(text))
    except Misread as misread:
        page.wrong(fields["range"], f"range: {misread.what}", misread.hint)
        return None
    if low >= high:
        page.wrong(fields["range"], "range: the first end must be below the second")
        return None
    if (whole[0] is not None and low < whole[0]) or (whole[1] is not None and high > whole[1]):
        what = f"range: {show(text)} is wider than that of {signal.path}"
        page.wrong(
            fields["range"], what, f"{signal.low} {signal.unit} to {signal.high} {signal.unit}"
        )
    return low, high


def _decides(fields: Fields, page: Page) -> bool:
    decides = shape.DECIDES.at(fields, "decides", page) == "displayed"
    if decides and "display" not in fields:
        what = "the displayed value decides, but how it is displayed is not stated"
        page.wrong(fields["decides"], what, "display: {decimals: 1, rounding: half-away-from-zero}")
    return decides
