"""`agree`: several signals show the same, whichever changes first."""

from decimal import Decimal
from fractions import Fraction

from hil.core.instant import ZERO, Duration, show_duration
from hil.core.plan import Expectation, Timing, Unchanged
from hil.core.signal import Kind, Signal
from hil.files.leaf import DURATION, QUANTITY
from hil.files.measure_shape import AGREE, AGREEING, PATH
from hil.files.mistake import Misread, Page, show
from hil.files.quantity import difference_in, show_quantity
from hil.files.scope import Scope
from hil.files.tree import Node
from hil.measure.exact import as_decimal
from hil.measure.grain import common
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
    _check_words(fields, signals, page)
    if page.count > before or within is None or window is None:
        return []
    if within >= window:
        what = "within: is not shorter than `during`, so nothing is proven"
        page.wrong(fields["within"], what, f"during: {show_duration(Duration(10 * within))}")
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
            page.wrong(entry, f"agree: {show(signal.path)} stands here twice", "another signal")
        if not signal.sensed:
            what = f"{signal.path} is in no reading of its node, so nobody can see it"
            page.wrong(entry, what, "a signal that shows it")
        first = next(iter(found.values()), signal)
        if (signal.kind, signal.unit) != (first.kind, first.unit):
            what = f"agree: {signal.path} is {_kind(signal)}, {first.path} is {_kind(first)}"
            page.wrong(entry, what, "a `relation`, for numbers in different units")
        found[signal.path] = signal
    return list(found.values())


def _check_words(fields: dict[str, Node], signals: list[Signal], page: Page) -> None:
    """Refuse labels that have no word in common: they could never show the same."""
    labels = [set(signal.labels) for signal in signals if signal.kind is Kind.LABEL]
    if len(labels) == len(signals) > 1 and not set.intersection(*labels):
        what = "agree: they have no word in common, so they never show the same"
        page.wrong(fields["agree"], what, "an expectation for each of them")


def _kind(signal: Signal) -> str:
    return f"a number in {signal.unit}" if signal.kind is Kind.NUMBER else f"a {signal.kind.value}"


def _tolerance(fields: dict[str, Node], signals: list[Signal], page: Page) -> Decimal:
    if "tolerance" not in fields or not signals:
        return Decimal(0)
    node = fields["tolerance"]
    if signals[0].kind is not Kind.NUMBER:
        what = f"tolerance: is for numbers, {signals[0].path} is {_kind(signals[0])}"
        page.wrong(node, what, "without it")
        return Decimal(0)
    text = QUANTITY.read(node, page, "tolerance")
    try:
        width = Decimal(0) if text is None else difference_in(text, signals[0].unit)
        if width < 0:
            raise Misread(f"{show(text or '')} is negative", "0.5, in the unit of the signals")
        _check_counts(text or "", width, signals)
    except Misread as misread:
        page.wrong(node, f"tolerance: {misread.what}", misread.hint)
        return Decimal(0)
    return width


def _check_counts(text: str, width: Decimal, signals: list[Signal]) -> None:
    """Refuse a tolerance below half of the least that they can be apart by."""
    counts = [signal.resolution for signal in signals]
    steps = [None if count is None else Fraction(count) for count in counts]
    step = common(*steps)
    if not width or not step or 2 * width >= step:
        return
    least = show_quantity(as_decimal(step), signals[0].unit)
    what = f"{show(text)} is less than half of {least}, by which they can be apart"
    raise Misread(what, f"{least}, or leave it out where they must be the same")
