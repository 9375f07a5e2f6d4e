"""`follow`: a profile as the commands it makes, and the bounds of its responses.

Every command is worked out here, put on a count of the wire and held to the range and the rate of
the signal, so that nothing is found out while things move.
"""

from decimal import Decimal
from itertools import pairwise

from hil.core.instant import SECOND, ZERO, Duration, show_duration
from hil.core.signal import Kind, Signal
from hil.files.bound_text import read_bound, read_time_bound
from hil.files.follow_shape import FOLLOW, FOLLOWER, FOLLOWERS, PATH
from hil.files.leaf import DURATION
from hil.files.mistake import Misread, Page, nearest
from hil.files.profile_text import read_profile
from hil.files.quantity import difference_in, show_quantity, value_in
from hil.files.scope import Scope
from hil.files.tree import Node
from hil.files.value import check_range
from hil.measure.bound import Bound
from hil.measure.profile import Profile, Sine
from hil.measure.tracking import Follower, Measured, Tracking

_LIMIT = 100_000


def read_follow(node: Node, scope: Scope, page: Page) -> Tracking | None:
    """Return the job; None, with the mistakes noted."""
    before = page.count
    fields = FOLLOW.open(node, page)
    if fields is None:
        return None
    signal = _driven(fields, scope, page)
    every, length = DURATION.at(fields, "every", page), DURATION.at(fields, "for", page)
    after = DURATION.at(fields, "after", page) or ZERO
    count = _count(every, length, after, fields, page)
    profile = read_profile(fields, signal, page) if signal is not None else None
    values: tuple[Decimal, ...] = ()
    if signal is not None and profile is not None and every and count:
        values = _commands(profile, signal, every, count, fields, scope, page)
    sine = profile if isinstance(profile, Sine) else None
    entries = FOLLOWERS.open(fields["expect"], page) if "expect" in fields else []
    found = [_follower(entry, sine, scope, page) for entry in entries]
    if page.count > before or signal is None or every is None:
        return None
    return Tracking(
        signal=signal.path,
        values=values,
        every=every,
        after=after,
        followers=tuple(one for one in found if one is not None),
        sine=sine,
        mark=page.mark(node),
    )


def _driven(fields: dict[str, Node], scope: Scope, page: Page) -> Signal | None:
    path = PATH.at(fields, "drive", page)
    signal = None if path is None else scope.find(path, fields["drive"], page)
    if signal is None:
        return None
    if not _is_driven(signal):
        what = f"drive: {signal.path} is no number that can be driven"
        known = [one.path for one in scope.signals.values() if _is_driven(one)]
        page.wrong(fields["drive"], what, nearest(signal.path, known) or ", ".join(known[:3]))
        return None
    return signal


def _is_driven(signal: Signal) -> bool:
    return signal.drive is not None and signal.kind is Kind.NUMBER


def _count(
    every: Duration | None,
    length: Duration | None,
    after: Duration,
    fields: dict[str, Node],
    page: Page,
) -> int:
    if every is None or length is None:
        return 0
    if not every:
        page.wrong(fields["every"], "every: expected more than 0 s", "every: 50 ms")
        return 0
    count = length // every
    if not 4 <= count <= _LIMIT:
        what = f"for: {show_duration(length)} makes {count} commands, expected 4 to {_LIMIT}"
        page.wrong(fields["for"], what, f"for: {show_duration(Duration(100 * every))}")
        return 0
    if after >= length:
        hint = f"after: {show_duration(Duration(length // 4))}"
        page.wrong(fields["after"], "after: leaves nothing that counts", hint)
    return count


def _commands(
    profile: Profile,
    signal: Signal,
    every: Duration,
    count: int,
    fields: dict[str, Node],
    scope: Scope,
    page: Page,
) -> tuple[Decimal, ...]:
    grid = scope.driven[signal.path]
    values = tuple(grid.nearest(profile.at(every * number)) for number in range(count))
    for number, value in enumerate(values):
        try:
            check_range(value, signal)
        except Misread as misread:
            when = show_duration(Duration(every * number))
            what = f"follow: {misread.what}, {when} after the start"
            page.wrong(fields["drive"], what, misread.hint or "a smaller profile")
            return ()
    rate = signal.drive.rate if signal.drive is not None else None
    if rate is not None:
        most = max(abs(after - before) for before, after in pairwise(values))
        allowed = rate * every / SECOND
        if most > allowed:
            unit = signal.unit
            what = (
                f"follow: two commands are {show_quantity(most, unit)} apart, {signal.path} may "
                f"change by {show_quantity(allowed, unit)} in {show_duration(every)}"
            )
            page.wrong(fields["every"], what, "a slower profile, or more time between commands")
    return values


def _follower(node: Node, sine: Sine | None, scope: Scope, page: Page) -> Follower | None:
    fields = FOLLOWER.open(node, page)
    if fields is None:
        return None
    path = PATH.at(fields, "signal", page)
    signal = None if path is None else scope.find(path, fields["signal"], page)
    if signal is None:
        return None
    if not _is_seen(signal):
        seen = [one.path for one in scope.signals.values() if _is_seen(one)]
        unseen = f"{signal.path} is no number that can be seen"
        page.wrong(fields["signal"], unseen, nearest(signal.path, seen) or ", ".join(seen[:3]))
        return None
    bounds = []
    for what in Measured:
        if what.value in fields:
            bound = _bound(what, fields[what.value], signal, page)
            if bound is not None:
                bounds.append((what, bound))
    if not any(what.value in fields for what in Measured):
        missing = "expected one or more of `lag`, `gain`, `worst-error`, `phase`"
        page.wrong(node, missing, "lag: 100 ms")
    if "phase" in fields and sine is None:
        page.wrong(fields["phase"], "phase: only a sine has one", "lag: 100 ms")
    return Follower(signal=signal.path, bounds=tuple(bounds))


def _is_seen(signal: Signal) -> bool:
    return signal.kind is Kind.NUMBER and signal.sensed


def _bound(what: Measured, node: Node, signal: Signal, page: Page) -> Bound | None:
    match what:
        case Measured.LAG:
            bound = read_time_bound(node, what.value, page)
            if bound is not None and bound.high is not None and signal.sampling is not None:
                _check_looks(Duration(int(bound.high)), signal, node, page)
            return bound
        case Measured.GAIN:
            read = lambda text: value_in(text, "fraction")  # noqa: E731
            return read_bound(node, what.value, page, read, lambda v: show_quantity(v, ""))
        case Measured.WORST:
            unit = signal.unit
    if what is Measured.PHASE:
        unit = "deg"
    return read_bound(
        node,
        what.value,
        page,
        lambda text: difference_in(text, unit),
        lambda value: show_quantity(value, unit),
        bare="" if what is Measured.PHASE else "at most ",
    )


def _check_looks(limit: Duration, signal: Signal, node: Node, page: Page) -> None:
    if signal.sampling is not None and limit < signal.sampling:
        every = show_duration(signal.sampling)
        what = f"lag: {show_duration(limit)} is finer than the looks at {signal.path}, one every"
        page.wrong(node, f"{what} {every}", f"at least {every}")
