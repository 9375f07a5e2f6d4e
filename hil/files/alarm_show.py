"""The indicators of an alarm spec: which signals show it, alike or together."""

from collections.abc import Mapping

from hil.alarms.indicator import Displayed, Indicator
from hil.core.signal import Kind, Signal
from hil.files.alarm_sheet import Fields, Sheet, entries
from hil.files.alarm_show_shape import INDICATOR, INDICATORS, WAYS
from hil.files.alarm_way import WayReader
from hil.files.leaf import DURATION, NAME
from hil.files.mistake import listed
from hil.files.tree import Node

_KINDS = {"labels": Kind.LABEL, "text": Kind.TEXT}
_TOGETHER = {"rgb": 3, "chromaticity": 2}

Found = tuple[Node, Signal]


def read_indicators(
    fields: Fields, colours: Mapping[str, str], display: Displayed | None, sheet: Sheet
) -> tuple[Indicator, ...]:
    """Return the indicators; `colours` are those of all looks, as far as known."""
    if "indicators" not in fields:
        return ()
    found: list[Indicator] = []
    for node in INDICATORS.open(fields["indicators"], sheet.page):
        keys = INDICATOR.open(node, sheet.page)
        if keys is not None:
            found += _read(keys, colours, display, sheet)
    return tuple(found)


def _read(
    keys: Fields, colours: Mapping[str, str], display: Displayed | None, sheet: Sheet
) -> list[Indicator]:
    """Return one entry: several indicators where its signals show alike."""
    page = sheet.page
    free = _not_judged(keys, sheet)
    within = DURATION.at(keys, "within", page)
    way = next((way for way in WAYS if way in keys), None)
    if way is None:
        return []
    judged = {look: colour for look, colour in colours.items() if look not in free}
    found = []
    for group in _groups(keys, way, sheet):
        place, signal = group[0]
        how = WayReader(keys, place, signal, judged, display, sheet).read(way)
        if how is None:
            continue
        paths = tuple(one.path for _, one in group)
        mark = page.mark(place)
        found.append(Indicator(signals=paths, how=how, mark=mark, within=within, not_judged=free))
    return found


def _not_judged(keys: Fields, sheet: Sheet) -> tuple[str, ...]:
    if "not-judged" not in keys:
        return ()
    names = []
    for entry in entries(keys["not-judged"], sheet.page):
        name = NAME.read(entry, sheet.page, "not-judged")
        if name is not None and sheet.look(name, entry):
            names.append(name)
    return tuple(names)


def _groups(keys: Fields, way: str, sheet: Sheet) -> list[list[Found]]:
    """Return groups of signals: each of `signal` by itself, those of `signals` together."""
    key = "signal" if "signal" in keys else "signals"
    if key not in keys:
        return []
    page, kind = sheet.page, _KINDS.get(way, Kind.NUMBER)
    places = list(entries(keys[key], page))
    found = [(place, sheet.find(place, key, kind)) for place in places]
    seen = [(place, signal) for place, signal in found if signal is not None]
    if key == "signal":
        if way == "chromaticity":
            page.wrong(keys[key], "x and y are two signals", "signals: [node.x, node.y]")
        return [[one] for one in seen]
    wanted = _TOGETHER.get(way)
    if wanted is None:
        what = f"`signals` belong together only for {listed(_TOGETHER)}"
        page.wrong(keys[key], what, "signal: [...], for several that show it alike")
        return []
    if len(places) != wanted:
        page.wrong(keys[key], f"{way}: expected {wanted} signals, got {len(places)}")
    return [seen] if len(seen) == wanted else []
