"""`agree`: several signals show the same, whichever changes first."""

from decimal import Decimal

from hil.core.instant import ZERO, show_duration
from hil.core.plan import Expectation, Timing, Unchanged
from hil.core.signal import Kind, Signal
from hil.files.leaf import DURATION, QUANTITY
from hil.files.measure_shape import AGREE, AGREEING, PATH
from hil.files.mistake import Misread, Page, show
from hil.files.quantity import difference_in, show_quantity
from hil.files.scope import Scope
from hil.files.tree import Node
from hil.measure.showing import Showing


def read_agree(node: Node, scope: Scope, page: Page) -> list[Expectation]:
    """Return the expectation that several signals agree."""
    before = page.count
    fields = AGREE.open(node, page)
    if fields is None:
        return []
    signals = _signals(fields, scope, page)
    within, window = DURATION.at(fields, "within", page), DURATION.at(fields, "during", page)
    tolerance = _tolerance(fields, signals, page)
    if page.count > before or within is None or window is None:
        return []
    if within >= window:
        page.wrong(fields["within"], "within: is not shorter than `during`, so nothing is proven")
    slowest = max(signals, key=lambda signal: signal.sampling or 0)
    if slowest.sampling is not None and within < slowest.sampling:
        every = show_duration(slowest.sampling)
        what = f"within: {show_duration(within)} is finer than the looks at {slowest.path}"
        page.wrong(fields["within"], f"{what}, one every {every}", f"at least {every}")
    paths = tuple(signal.path for signal in signals)
    added = f" ± {show_quantity(tolerance, signals[0].unit)}" if tolerance else ""
    return [
        Expectation(
            signals=paths,
            condition=Unchanged(),
            timing=Timing(during=(ZERO, window)),
            wanted=f"{', '.join(paths)} the same{added} within {show_duration(within)}",
            when=f"for {show_duration(window)}",
            mark=page.mark(node),
            measure=Showing(signals=paths, within=within, tolerance=tolerance, window=window),
        )
    ]


def _signals(fields: dict[str, Node], scope: Scope, page: Page) -> list[Signal]:
    if "agree" not in fields:
        return []
    found: dict[str, Signal] = {}
    for entry in AGREEING.open(fields["agree"], page):
        path = PATH.read(entry, page, "agree")
        signal = None if path is None else scope.find(path, entry, page)
        if signal is None:
            continue
        if signal.path in found:
            page.wrong(entry, f"agree: {show(signal.path)} stands here twice")
        if not signal.sensed:
            page.wrong(entry, f"{signal.path} is in no reading of its node, so nobody can see it")
        first = next(iter(found.values()), signal)
        if (signal.kind, signal.unit) != (first.kind, first.unit):
            what = f"agree: {signal.path} is {_kind(signal)}, {first.path} is {_kind(first)}"
            page.wrong(entry, what, "a `relation`, for numbers in different units")
        found[signal.path] = signal
    return list(found.values())


def _kind(signal: Signal) -> str:
    return f"a number in {signal.unit}" if signal.kind is Kind.NUMBER else f"a {signal.kind.value}"


def _tolerance(fields: dict[str, Node], signals: list[Signal], page: Page) -> Decimal:
    if "tolerance" not in fields or not signals:
        return Decimal(0)
    node = fields["tolerance"]
    if signals[0].kind is not Kind.NUMBER:
        page.wrong(node, f"tolerance: is for numbers, {signals[0].path} is {_kind(signals[0])}")
        return Decimal(0)
    text = QUANTITY.read(node, page, "tolerance")
    try:
        width = Decimal(0) if text is None else difference_in(text, signals[0].unit)
        if width < 0:
            raise Misread(f"{show(text or '')} is negative")
    except Misread as misread:
        page.wrong(node, f"tolerance: {misread.what}", misread.hint)
        return Decimal(0)
    return width
