"""What else a response must do: `settle`, `overshoot`, `undershoot`, `rise`, `delay`, `slew`.

These keys go with `value`, `tolerance` and `within`: the value is the level after the step, the
tolerance the settling band, and the response is recorded to the end of `within` and `hold`.
"""

from dataclasses import replace

from hil.core.instant import ZERO, Duration, show_duration
from hil.core.plan import Expectation, Limits
from hil.core.signal import Signal
from hil.files.bound_text import read_rate_bound, read_share_bound, read_time_bound
from hil.files.mistake import Page, listed
from hil.files.plan_shape import RESPONSE_WORDS, VARIANT
from hil.files.quantity import show_quantity
from hil.files.tree import Node
from hil.measure.bound import Bound
from hil.measure.response import Quantity, ResponseMeasure
from hil.measure.step_response import Variant

_VARIANTS = {"ieee-181": Variant.IEEE_181, "from-step": Variant.CONTROL}
_TIMES = ("settle", "rise", "delay")


def read_responses(
    expectation: Expectation, fields: dict[str, Node], signal: Signal, wait: Duration, page: Page
) -> list[Expectation]:
    """Return an expectation for each figure that is asked for; `signal` stands for all of them.

    `wait` is the pause before the stimulus, in which the first level is seen.
    """
    words = [word for word in RESPONSE_WORDS if word in fields]
    if not words or not _fit(expectation, fields, words, page):
        return []
    limits = expectation.condition
    assert isinstance(limits, Limits) and limits.target is not None and limits.high is not None
    variant = _variant(fields, wait, page)
    timing = expectation.timing
    window = Duration((timing.within or ZERO) + (timing.hold or ZERO))
    found = []
    for word in words:
        bound = _bound(word, fields[word], signal, window, page)
        if bound is None:
            continue
        measure = ResponseMeasure(
            quantity=Quantity(word),
            bound=bound,
            variant=variant,
            target=limits.target,
            half_width=limits.high - limits.target,
            window=window,
        )
        if word == "settle" and measure.half_width <= signal.noise:
            _too_noisy(fields, signal, page)
        found.append(_measured(expectation, measure, window))
    return found


def _measured(expectation: Expectation, measure: ResponseMeasure, window: Duration) -> Expectation:
    band = ""
    if measure.quantity is Quantity.SETTLING:
        band = f" into {expectation.wanted}"
    return replace(
        expectation,
        wanted=f"{measure.quantity.words} {measure.bound.words}{band}",
        when=f"({measure.variant.value}), seen for {show_duration(window)}",
        measure=measure,
    )


def _fit(expectation: Expectation, fields: dict[str, Node], words: list[str], page: Page) -> bool:
    limits, timing = expectation.condition, expectation.timing
    if timing.within is None:
        page.wrong(fields[words[0]], f"`{words[0]}` goes only with `within`", "within: 600 ms")
        return False
    if not isinstance(limits, Limits) or limits.target is None:
        what = f"{listed(words, 'and')}: measured against a `value` with a `tolerance`"
        page.wrong(fields[words[0]], what, "value: 45 deg, tolerance: 1.5 deg")
        return False
    return True


def _variant(fields: dict[str, Node], wait: Duration, page: Page) -> Variant:
    if "by" not in fields:
        return Variant.CONTROL
    word = VARIANT.read(fields["by"], page, "by")
    if word == "ieee-181" and not wait:
        what = "by: `ieee-181` needs the level before the step, which is seen during a `wait`"
        page.wrong(fields["by"], what, "wait: 300 ms before the stimulus, or by: from-step")
    return _VARIANTS.get(word or "", Variant.CONTROL)


def _bound(word: str, node: Node, signal: Signal, window: Duration, page: Page) -> Bound | None:
    if word == "slew":
        return read_rate_bound(node, word, signal.unit, page)
    if word not in _TIMES:
        return read_share_bound(node, word, page)
    bound = read_time_bound(node, word, page)
    if bound is None or bound.high is None:
        return bound
    limit = Duration(int(bound.high))
    if limit >= window:
        what = f"{word}: {show_duration(limit)} is not seen to its end: the response is watched"
        page.wrong(node, f"{what} for {show_duration(window)}", "a longer `within`, or a `hold`")
        return None
    if signal.sampling is not None and limit < signal.sampling:
        what = (
            f"{word}: {show_duration(limit)} is finer than the looks at {signal.path}, "
            f"one every {show_duration(signal.sampling)}"
        )
        page.wrong(node, what, f"at least {show_duration(signal.sampling)}, or poll it faster")
        return None
    return bound


def _too_noisy(fields: dict[str, Node], signal: Signal, page: Page) -> None:
    noise = show_quantity(signal.noise, signal.unit)
    what = f"settle: {signal.path} wanders by {noise} at rest, so it never settles for certain"
    page.wrong(fields["tolerance"], what, f"a tolerance above {noise}")
