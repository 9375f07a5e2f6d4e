"""When something must be so: `within`, `hold`, `not-before`, `during`, `never`."""

from hil.core.instant import ZERO, Duration, show_duration
from hil.core.plan import Timing
from hil.core.signal import Signal
from hil.files.duration import read_duration
from hil.files.leaf import DURATION, WINDOW
from hil.files.mistake import Misread, Page
from hil.files.quantity import split_range
from hil.files.tree import Node, Scalar

PATIENCE = Duration(3_000_000_000)
"""How long a precondition waits where it does not say."""

WORDS = ("within", "hold", "not-before", "during", "never")


def timing_key(fields: dict[str, Node]) -> tuple[object, ...]:
    """Return what tells two timings apart, as written; what is no text is like nothing else."""
    nodes = (fields.get(word) for word in WORDS)
    return tuple(node.text if isinstance(node, Scalar) else node for node in nodes)


def read_timing(fields: dict[str, Node], page: Page, default: Duration | None) -> Timing | None:
    """Return the timing of an expectation; None, with the mistakes noted."""
    before = page.count
    within = _length("within", fields, page)
    hold = _length("hold", fields, page)
    not_before = _length("not-before", fields, page)
    never = _length("never", fields, page)
    during = _window(fields["during"], page) if "during" in fields else None
    if within is not None and not_before is not None and not_before > within:
        page.wrong(fields["not-before"], "not-before: lies after the deadline in `within`")
    if page.count > before:
        return None
    if within is None and during is None and never is None:
        if default is None:
            return None  # which of them is missing, or misspelled, is noted
        within = default
    return Timing(within=within, hold=hold, not_before=not_before, during=during, never=never)


def _length(word: str, fields: dict[str, Node], page: Page) -> Duration | None:
    if word not in fields:
        return None
    length = DURATION.read(fields[word], page, word)
    if length == 0:
        page.wrong(fields[word], f"{word}: expected more than 0 s")
    return length


def _window(node: Node, page: Page) -> tuple[Duration, Duration] | None:
    text = WINDOW.read(node, page, "during")
    if text is None:
        return None
    try:
        ends = split_range(text) if " to " in text else ("0 s", text)
        start, end = (read_duration(part) for part in ends)
    except Misread as misread:
        page.wrong(node, f"during: {misread.what}", misread.hint)
        return None
    if start >= end:
        page.wrong(node, "during: the window must end after it begins")
        return None
    return start, end


def show_timing(timing: Timing) -> str:
    """Say a timing in words: `within 150 ms, holding 500 ms`."""
    if timing.during is not None:
        start, end = timing.during
        first = f"{show_duration(start)} to " if start else ""
        return f"throughout {first}{show_duration(end)}"
    if timing.never is not None:
        return f"never within {show_duration(timing.never)}"
    parts = [f"within {show_duration(timing.within or ZERO)}"]
    if timing.not_before is not None:
        parts.append(f"not before {show_duration(timing.not_before)}")
    if timing.hold is not None:
        parts.append(f"holding {show_duration(timing.hold)}")
    return ", ".join(parts)


def refuse_finer_than_looks(
    timing: Timing, fields: dict[str, Node], signal: Signal, page: Page
) -> None:
    """Refuse a deadline finer than the looks at the signal, and warn about any other such time."""
    looks = signal.sampling
    if looks is None:
        return
    during = None if timing.during is None else Duration(timing.during[1] - timing.during[0])
    for word, length in (
        ("within", timing.within),
        ("hold", timing.hold),
        ("during", during),
        ("never", timing.never),
    ):
        if length is not None and length < looks and word in fields:
            what = (
                f"{word}: {show_duration(length)} is finer than the looks at {signal.path}, "
                f"one every {show_duration(looks)}, so the verdict may be inconclusive"
            )
            if word == "within":
                hint = f"at least {show_duration(looks)}, or look more often"
                page.wrong(fields[word], what.replace("may be", "could only be"), hint)
            else:
                page.warn(fields[word], what)
