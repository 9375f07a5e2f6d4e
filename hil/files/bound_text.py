"""What a measured figure must be: `300 ms`, `at most 300 ms`, `at least 200 deg/s`, `20 ms to 40 ms`."""

from collections.abc import Callable
from decimal import Decimal

from hil.core.instant import Duration, show_duration
from hil.files.duration import read_duration
from hil.files.leaf import BOUND
from hil.files.mistake import Misread, Page, show
from hil.files.quantity import rate_in, show_quantity, split_range, value_in
from hil.files.tree import Node
from hil.measure.bound import Bound

Read = Callable[[str], Decimal]
Show = Callable[[Decimal], str]

_AT_MOST, _AT_LEAST = "at most ", "at least "


def read_bound(
    node: Node, name: str, page: Page, read: Read, show_one: Show, *, bare: str = _AT_MOST
) -> Bound | None:
    """Return a bound; None, with the mistake noted.

    `bare` is what a limit without a word means; empty where it must have one.
    """
    text = BOUND.read(node, page, name)
    if text is None:
        return None
    try:
        return _bound(text.strip(), read, show_one, bare)
    except Misread as misread:
        page.wrong(node, f"{name}: {misread.what}", misread.hint)
        return None


def _bound(text: str, read: Read, show_one: Show, bare: str) -> Bound:
    for word in (_AT_MOST, _AT_LEAST):
        if text.startswith(word):
            limit = read(text.removeprefix(word).strip())
            return _one_sided(limit, word, show_one)
    if " to " in text:
        low, high = (read(end) for end in split_range(text))
        if low >= high:
            first, second = split_range(text)
            raise Misread("the first end must be below the second", f"{second} to {first}")
        return Bound(low=low, high=high, words=f"{show_one(low)} to {show_one(high)}")
    if not bare:
        raise Misread(f"{show(text)} does not say which way", f"at least {text}")
    return _one_sided(read(text), bare, show_one)


def _one_sided(limit: Decimal, word: str, show_one: Show) -> Bound:
    words = f"{word}{show_one(limit)}"
    if word == _AT_MOST:
        return Bound(low=None, high=limit, words=words)
    return Bound(low=limit, high=None, words=words)


def read_time_bound(node: Node, name: str, page: Page) -> Bound | None:
    """Return a bound on a time, in nanoseconds; one that nothing could keep is a mistake."""
    bound = read_bound(node, name, page, lambda text: Decimal(read_duration(text)), _show_time)
    if bound is not None and bound.high == 0:
        page.wrong(node, f"{name}: expected more than 0 s", f"{name}: 100 ms")
        return None
    return bound


def read_share_bound(node: Node, name: str, page: Page) -> Bound | None:
    """Return a bound on a share, in %."""
    bound = read_bound(
        node, name, page, lambda text: value_in(text, "%"), lambda value: show_quantity(value, "%")
    )
    if bound is not None and min(bound.low or 0, bound.high or 0) < 0:
        page.wrong(node, f"{name}: expected 0 % or more", f"{name}: 5 %")
        return None
    return bound


def read_rate_bound(node: Node, name: str, unit: str, page: Page) -> Bound | None:
    """Return a bound on a rate of change, in the unit per second; it says which way."""
    return read_bound(
        node,
        name,
        page,
        lambda text: rate_in(text, unit),
        lambda value: show_quantity(value, f"{unit}/s"),
        bare="",
    )


def _show_time(value: Decimal) -> str:
    return show_duration(Duration(int(value)))
