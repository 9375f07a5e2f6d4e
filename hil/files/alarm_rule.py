"""The rules of an alarm spec: no reading, start-up, acknowledgement, tolerance, what is accepted."""

from decimal import Decimal

from hil.alarms.indicator import Displayed
from hil.alarms.spec import (
    FAULT,
    SILENT,
    STALE,
    START_UP,
    Acceptance,
    AfterFault,
    Band,
    Latch,
    NoReading,
    Rule,
    StartUp,
    Tolerance,
)
from hil.core.signal import Kind
from hil.files import alarm_shape as shape
from hil.files.alarm_sheet import Fields, Sheet
from hil.files.alarm_way import read_decimals, read_rounding
from hil.files.leaf import DURATION, FLAG, NUMBER, TITLE
from hil.files.mistake import nearest, show


def read_no_reading(fields: Fields, sheet: Sheet) -> NoReading | None:
    """Return what is shown without a reading."""
    keys = shape.NO_READING.open(fields["no-reading"], sheet.page)
    if keys is None:
        return None
    fault, stale, silent = (sheet.colour(keys, look) for look in (FAULT, STALE, SILENT))
    after = shape.AFTERWARDS.at(keys, "afterwards", sheet.page)
    stale_after, silent_after = (sheet.age(keys, key) for key in ("stale-after", "silent-after"))
    if fault is None or stale is None or silent is None or after is None:
        return None
    return NoReading(
        fault_colour=fault,
        stale_colour=stale,
        silent_colour=silent,
        stale_after=stale_after,
        silent_after=silent_after,
        after=AfterFault(after),
        mark=sheet.page.mark(fields["no-reading"]),
    )


def read_start_up(fields: Fields, sheet: Sheet) -> StartUp | None:
    """Return what is shown after a start."""
    keys = shape.START_UP.open(fields[START_UP], sheet.page)
    if keys is None:
        return None
    colour, hold = sheet.colour(keys, "colour"), DURATION.at(keys, "hold", sheet.page)
    if colour is None or hold is None:
        return None
    return StartUp(colour=colour, hold=hold, mark=sheet.page.mark(fields[START_UP]))


def read_latch(fields: Fields, bands: tuple[Band, ...], sheet: Sheet) -> Latch | None:
    """Return how alarms are acknowledged, and hold it to the bands that are latched."""
    latched = [band for band in bands if band.latched]
    if "acknowledge" not in fields:
        for band in latched:
            what = f"{band.name} is latched, but nothing acknowledges it"
            sheet.page.wrong_at(band.mark.line, band.mark.column, what, "state `acknowledge`")
        return None
    node, page = fields["acknowledge"], sheet.page
    if bands and not latched:
        page.wrong(node, "acknowledge: no band is latched", "latched: yes")
    keys = shape.ACKNOWLEDGE.open(node, page)
    if keys is None:
        return None
    signal = sheet.find(keys["signal"], "signal", Kind.LABEL) if "signal" in keys else None
    label = TITLE.at(keys, "becomes", page)
    if signal is not None and label is not None and label not in signal.labels:
        hint = nearest(label, signal.labels) or f"one of {', '.join(signal.labels)}"
        page.wrong(keys["becomes"], f"becomes: {signal.path} has no label {show(label)}", hint)
    active = FLAG.at(keys, "while-active", page)
    survives = FLAG.at(keys, "survives-restart", page)
    if signal is None or label is None or active is None or survives is None:
        return None
    return Latch(
        signal=signal.path,
        label=label,
        while_active=active,
        survives_restart=survives,
        mark=page.mark(node),
    )


def read_tolerance(fields: Fields, sheet: Sheet) -> Tolerance | None:
    """Return how far off a node may be."""
    keys = shape.TOLERANCE.open(fields["tolerance"], sheet.page)
    if keys is None:
        return None
    level, time = sheet.width(keys, "level"), DURATION.at(keys, "time", sheet.page)
    rule = shape.RULE.at(keys, "rule", sheet.page)
    guard = NUMBER.at(keys, "guard", sheet.page) if "guard" in keys else Decimal(1)
    if guard is not None and guard < 0:
        sheet.page.wrong(keys["guard"], "guard: expected 0 or more")
    if "guard" in keys and rule not in (None, Rule.GUARDED.value):
        sheet.page.wrong(keys["guard"], "`guard` goes only with the rule `guarded`")
    if level is None or time is None or rule is None or guard is None:
        return None
    mark = sheet.page.mark(fields["tolerance"])
    return Tolerance(level=level, time=time, rule=Rule(rule), mark=mark, guard=guard)


def read_display(fields: Fields, sheet: Sheet) -> Displayed | None:
    """Return how the value is displayed, where that is stated."""
    if "display" not in fields:
        return None
    keys = shape.DISPLAY.open(fields["display"], sheet.page) or {}
    decimals, rounding = read_decimals(keys, sheet), read_rounding(keys, sheet)
    if decimals is None or rounding is None:
        return None
    return Displayed(decimals=decimals, rounding=rounding)


def read_acceptances(fields: Fields, sheet: Sheet) -> tuple[Acceptance, ...]:
    """Return the findings that the author accepts."""
    if "accept" not in fields:
        return ()
    found = []
    for node in shape.ACCEPTANCES.open(fields["accept"], sheet.page):
        keys = shape.ACCEPTED.open(node, sheet.page) or {}
        code = shape.CODE.at(keys, "code", sheet.page)
        where = TITLE.at(keys, "for", sheet.page) or ""
        reason = TITLE.at(keys, "reason", sheet.page)
        if code is not None and reason is not None:
            mark = sheet.page.mark(node)
            found.append(Acceptance(code=code, reason=reason, mark=mark, where=where))
    return tuple(found)
