"""`rule`: how an expectation on a number is decided where the reading is uncertain."""

from dataclasses import replace
from decimal import Decimal

from hil.core.plan import Expectation, Limits
from hil.core.signal import Signal
from hil.files.leaf import NUMBER, QUANTITY
from hil.files.mistake import Misread, Page
from hil.files.plan_shape import RULE
from hil.files.quantity import difference_in, show_quantity
from hil.files.share import read_share
from hil.files.tree import Node
from hil.measure.acceptance import Ruling, accuracy_of
from hil.measure.decision import GuardedAcceptance, Rule, SimpleAcceptance, StatedRisk
from hil.measure.ruling import Ruled


def ruled(
    expectation: Expectation, fields: dict[str, Node], signals: list[Signal], page: Page
) -> Expectation:
    """Return the expectation with its rule; as it was, with the mistakes noted, where none fits."""
    if "rule" not in fields:
        return expectation
    before = page.count
    place = fields["rule"]
    limits, rule = expectation.condition, _rule(fields, page)
    if not isinstance(limits, Limits):
        what = "rule: is for limits: `value` with `tolerance`, `between`, `above`, `below`"
        page.wrong(place, what, "without it, or with one of those")
        return expectation
    if not (limits.low_inclusive and limits.high_inclusive):
        page.wrong(place, "rule: does not go with `edges: exclusive`", "edges: inclusive")
    if expectation.timing.not_before is not None:
        page.wrong(place, "rule: does not go with `not-before`", "two expectations")
    for signal in signals:
        stimulus = _stimulus(fields, signal, page)
        if rule is not None and page.count == before:
            _check(
                Ruling(
                    rule=rule, low=limits.low, high=limits.high, signal=signal, stimulus=stimulus
                ),
                place,
                page,
            )
    if rule is None or page.count > before:
        return expectation
    measure = Ruled(limits=limits, rule=rule, stimulus=_stimulus(fields, signals[0], page))
    return replace(expectation, measure=measure)


def _rule(fields: dict[str, Node], page: Page) -> Rule | None:
    word = RULE.read(fields["rule"], page, "rule")
    for key, owner in (("guard", "guarded"), ("risk", "stated-risk")):
        if key in fields and word is not None and word != owner:
            page.wrong(fields[key], f"`{key}` goes only with `rule: {owner}`", f"rule: {owner}")
    if word == "guarded":
        return _guarded(fields, page)
    if word != "stated-risk":
        return None if word is None else SimpleAcceptance()
    if "risk" not in fields:
        page.wrong(fields["rule"], "rule: `stated-risk` needs the risk", "risk: 2.5 %")
        return None
    risk = read_share(fields["risk"], "risk", page)
    if risk is not None and risk >= Decimal("0.5"):
        page.wrong(fields["risk"], "risk: expected less than 50 %", "2.5 %")
        return None
    return None if risk is None else StatedRisk(risk)


def _guarded(fields: dict[str, Node], page: Page) -> Rule | None:
    if "guard" not in fields:
        return GuardedAcceptance()
    multiple = NUMBER.read(fields["guard"], page, "guard")
    if multiple is None or multiple <= 0:
        if multiple is not None:
            page.wrong(fields["guard"], "guard: expected more than 0, in multiples of U", "1")
        return None
    return GuardedAcceptance(multiple)


def _stimulus(fields: dict[str, Node], signal: Signal, page: Page) -> Decimal:
    if "stimulus-uncertainty" not in fields:
        return Decimal(0)
    node = fields["stimulus-uncertainty"]
    text = QUANTITY.read(node, page, "stimulus-uncertainty")
    if text is None:
        return Decimal(0)
    try:
        width = difference_in(text, signal.unit)
        if width < 0:
            raise Misread("a half-width is not negative", text.strip().removeprefix("-"))
    except Misread as misread:
        page.wrong(node, f"stimulus-uncertainty: {misread.what}", misread.hint)
        return Decimal(0)
    return width


def _check(ruling: Ruling, place: Node, page: Page) -> None:
    """Refuse a rule that knows of no uncertainty, or under which no reading would pass."""
    signal = ruling.signal
    if accuracy_of(signal) is None and not ruling.stimulus:
        what = f"rule: nothing says how sure {signal.path} is"
        page.wrong(place, what, "`accuracy` for it in the bench file")
        return
    if ruling.accepted() is None:
        middle = ruling.low if ruling.low is not None else ruling.high
        expanded = ruling.uncertainty(middle or Decimal(0)).expanded
        shown = show_quantity(Decimal(f"{expanded:.3g}"), signal.unit)
        what = f"rule: no reading of {signal.path} would pass, its U is {shown}"
        page.wrong(place, what, "a wider tolerance, or a better instrument")
