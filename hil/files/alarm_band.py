"""The bands of an alarm spec: edges with their owner, dead bands, delays.

A band is on the high side or the low side of the normal one, and its clear level must be stated
with the words of that side: an alarm that trips on the way up clears at or below a level.
"""

from collections.abc import Mapping

from hil.alarms.spec import SPECIAL, Band, ClearsAt, Counting, DeadBand, Delay, Width
from hil.core.signal import Kind
from hil.files.alarm_shape import (
    ALARM_ONLY,
    BAND,
    BANDS,
    CLEARS,
    COUNTED,
    DEAD_BANDS,
    DELAY,
    IN_DEAD_BAND,
    RESET_POINT,
)
from hil.files.alarm_sheet import Fields, Sheet, texts
from hil.files.leaf import DURATION, FLAG, NAME
from hil.files.mistake import nearest, show
from hil.files.tree import Map, Node, Scalar

_OWNERLESS = {
    "from": ("at-or-above", "above"),
    "to": ("below", "at-or-below"),
    "up-to": ("below", "at-or-below"),
    "until": ("below", "at-or-below"),
    "low": ("at-or-above", "above"),
    "high": ("below", "at-or-below"),
    "min": ("at-or-above", "above"),
    "max": ("below", "at-or-below"),
}
_DELAY_EXAMPLE = "counted: unbroken, in-dead-band: interrupts"


def read_bands(fields: Fields, sheet: Sheet) -> tuple[Band, ...] | None:
    """Return the bands from low to high; None, with the mistakes noted, where one is wrong."""
    if "bands" not in fields:
        return None
    before = sheet.page.count
    opened = [_open(node, sheet) for node in BANDS.open(fields["bands"], sheet.page)]
    found = [one for one in opened if one is not None]
    names = _names(found, sheet)
    sheet.bands = tuple(names)
    normal = _normal(fields, sheet)
    reset_point = RESET_POINT.at(fields, "reset-point", sheet.page)
    bands = []
    for place, (node, keys) in enumerate(found):
        side = 0 if normal is None else place - normal
        if normal is not None and side == 0:
            _check_normal(node, keys, sheet)
        bands.append(_band(node, keys, side, reset_point, sheet))
    if sheet.page.count > before:
        return None
    return tuple(band for band in bands if band is not None)


def _open(node: Node, sheet: Sheet) -> tuple[Node, dict[str, Node]] | None:
    """Open one band; edges without an owner are told in words of their own."""
    if isinstance(node, Map):
        for name, (key, value) in list(node.pairs.items()):
            if name not in _OWNERLESS:
                continue
            level = value.text if isinstance(value, Scalar) else "3.60 bar"
            first, second = _OWNERLESS[name]
            what = f"`{name}` does not say which band {show(level)} itself belongs to"
            sheet.page.wrong(key, what, f"{first}: {level}, or {second}: {level}")
            del node.pairs[name]
    keys = BAND.open(node, sheet.page)
    return None if keys is None else (node, keys)


def _names(found: list[tuple[Node, dict[str, Node]]], sheet: Sheet) -> list[str]:
    names: list[str] = []
    for _, keys in found:
        name = NAME.at(keys, "band", sheet.page)
        if name in SPECIAL:
            sheet.page.wrong(keys["band"], f"{show(name)} is a word of its own, no band")
        elif name in names:
            sheet.page.wrong(keys["band"], f"the band {show(name)} stands here twice")
        names.append(name or "")
    return names


def _normal(fields: Fields, sheet: Sheet) -> int | None:
    name = NAME.at(fields, "normal", sheet.page)
    if name is None:
        return None
    if name in sheet.bands:
        return sheet.bands.index(name)
    hint = nearest(name, sheet.bands) or f"one of {', '.join(sheet.bands)}"
    sheet.page.wrong(fields["normal"], f"normal: there is no band {show(name)}", hint)
    return None


def _check_normal(node: Node, keys: Mapping[str, Node], sheet: Sheet) -> None:
    for key in ALARM_ONLY:
        if key in keys and isinstance(node, Map):
            what = f"`{key}` belongs to the alarm on the other side of the edge, not to normal"
            sheet.page.wrong(node.pairs[key][0], what)


def _band(
    node: Node, keys: dict[str, Node], side: int, reset_point: str | None, sheet: Sheet
) -> Band | None:
    page = sheet.page
    name, colour = NAME.at(keys, "band", page), sheet.colour(keys, "colour")
    low_key = next((key for key in ("at-or-above", "above") if key in keys), None)
    high_key = next((key for key in ("at-or-below", "below") if key in keys), None)
    low = sheet.level(keys, low_key) if low_key else None
    high = sheet.level(keys, high_key) if high_key else None
    dead_band = _dead_band(node, keys, side, reset_point, sheet)
    on_delay = _delay(keys, "on-delay", sheet)
    off_delay = _delay(keys, "off-delay", sheet)
    latched = FLAG.at(keys, "latched", page)
    reported = keys.get("reported-by")
    signal = sheet.find(reported, "reported-by", Kind.NUMBER) if reported else None
    if signal is not None and signal.unit != sheet.signal.unit:
        what = f"{signal.path} is in {signal.unit}, {sheet.signal.path} in {sheet.signal.unit}"
        page.wrong(keys["reported-by"], f"reported-by: {what}")
    if name is None or colour is None:
        return None
    return Band(
        name=name,
        colour=colour,
        low=low,
        high=high,
        low_included=low_key == "at-or-above",
        high_included=high_key == "at-or-below",
        mark=page.mark(node),
        dead_band=dead_band,
        on_delay=on_delay,
        off_delay=off_delay,
        latched=bool(latched),
        reported_by=signal.path if signal is not None else "",
        requirements=texts(keys, "requirement", page),
    )


def _dead_band(
    node: Node, keys: dict[str, Node], side: int, reset_point: str | None, sheet: Sheet
) -> DeadBand | None:
    if "dead-band" in keys:
        return _width(keys, reset_point, sheet)
    key = next((key for key in CLEARS if key in keys), None)
    if key is None:
        return None
    level = sheet.level(keys, key)
    wanted = "below" if side > 0 else "above"
    if side and not key.endswith(wanted):
        way = "up" if side > 0 else "down"
        what = f"`{key}`: this band trips on the way {way}, so it clears {wanted} a level"
        right = key.replace("above" if side > 0 else "below", wanted)
        place = node.pairs[key][0] if isinstance(node, Map) else node
        sheet.page.wrong(place, what, right)
    if level is None:
        return None
    included = "-at-or-" in key
    return ClearsAt(level=level, level_clears=included, mark=sheet.page.mark(keys[key]))


def _width(keys: dict[str, Node], reset_point: str | None, sheet: Sheet) -> DeadBand | None:
    amount = sheet.width(keys, "dead-band")
    own = RESET_POINT.at(keys, "reset-point", sheet.page)
    word = own or reset_point
    if word is None and "reset-point" not in keys:
        what = "a dead band needs `reset-point`: does a value exactly there clear the alarm?"
        sheet.page.wrong(keys["dead-band"], what, "reset-point: clears, or reset-point: holds")
    if amount is None or word is None:
        return None
    mark = sheet.page.mark(keys["dead-band"])
    return Width(amount=amount, level_clears=word == "clears", mark=mark)


def _delay(band: dict[str, Node], key: str, sheet: Sheet) -> Delay | None:
    if key not in band:
        return None
    node, page = band[key], sheet.page
    if isinstance(node, Scalar):
        what = f"{key}: {show(node.text)} does not say how its time is counted"
        page.wrong(node, what, f"{{time: {node.text}, {_DELAY_EXAMPLE}}}")
        return None
    keys = DELAY.open(node, page)
    if keys is None:
        return None
    length = DURATION.at(keys, "time", page)
    counted = COUNTED.at(keys, "counted", page)
    dips = IN_DEAD_BAND.at(keys, "in-dead-band", page)
    forget = DURATION.at(keys, "forget-after", page)
    if "in-dead-band" not in keys and any(word in band for word in DEAD_BANDS):
        what = f"{key} needs `in-dead-band`: does a dip into the dead band count as still beyond?"
        page.wrong(node, what, "in-dead-band: interrupts, or in-dead-band: counts")
    if "forget-after" in keys and counted == Counting.UNBROKEN.value:
        page.wrong(keys["forget-after"], "`forget-after` goes only with accumulated time")
    if length is None or counted is None:
        return None
    return Delay(
        length=length,
        counting=Counting(counted),
        dead_band_counts=dips == "counts",
        mark=page.mark(node),
        forget_after=forget,
    )
