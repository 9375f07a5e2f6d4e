"""The laws of machines, as one suite.  See hil/core/machine.py for their words.

A machine's own tests call `obey(make, things)`: `make()` returns a fresh machine, `things` what it
receives, as (instant, thing), sorted.  `state(machine)` is what two machines that went through
the same must agree in; for most, what they sent and what they decided.
"""

from collections.abc import Callable, Sequence
from typing import Any

from hil.core.instant import Instant

Things = Sequence[tuple[int, Any]]


class Forward:
    """A machine behind the law of its callers: the instants they hand over never go back."""

    def __init__(self, machine: Any) -> None:
        self._machine = machine
        self._latest: int | None = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self._machine, name)

    def receive(self, thing: Any, now: Instant) -> None:
        self._check(now)
        self._machine.receive(thing, now)

    def tick(self, now: Instant) -> None:
        self._check(now)
        self._machine.tick(now)

    def _check(self, now: int) -> None:
        assert self._latest is None or now >= self._latest, (
            f"the caller's clock went back from {self._latest} to {now}"
        )
        self._latest = now


def run(machine: Any, things: Things, until: int, extra_ticks: Sequence[int] = ()) -> list[Any]:
    """Drive a machine as a loop does: arrivals before timers; return everything it sent."""
    return [sent for _, sent in _drive(machine, things, until, extra_ticks)]


def _drive(
    machine: Any, things: Things, until: int, extra_ticks: Sequence[int] = ()
) -> list[tuple[int, Any]]:
    """Drive a machine; return everything it sent, with the instant at which it did.

    A wakeup in the past would make the clock go back, which Forward does not allow.
    """
    machine = Forward(machine)
    sent: list[tuple[int, Any]] = []

    def take(at: int) -> None:
        sent.extend((at, thing) for thing in machine.take_sends())

    take(0)
    queue = sorted(
        [(at, 0, thing) for at, thing in things] + [(at, 1, None) for at in extra_ticks],
        key=lambda entry: entry[:2],
    )
    for at, _, thing in [*queue, (until, 1, None)]:
        _catch_up(machine, at if thing is not None else at + 1, take)
        if thing is not None:
            machine.receive(thing, Instant(at))
        else:
            machine.tick(Instant(at))
        take(at)
    return sent


def _catch_up(machine: Any, before: int, take: Callable[[int], None]) -> None:
    """Wake it at each of its wakeups that come before the given instant."""
    for _ in range(100_000):
        wakeup = machine.next_wakeup()
        if wakeup is None or wakeup >= before:
            return
        machine.tick(wakeup)
        take(wakeup)
        following = machine.next_wakeup()
        assert following is None or following > wakeup, "no progress after a tick at the wakeup"
    raise AssertionError("a hundred thousand wakeups without an end")


def obey(make: Callable[[], Any], things: Things, until: int, state: Callable[[Any], Any]) -> None:
    """Assert progress, that early ticks change nothing, and that a replay ends the same."""
    plain = make()
    sent = _drive(plain, things, until)
    replayed = make()
    assert _drive(replayed, things, until) == sent
    assert state(replayed) == state(plain)
    disturbed = make()
    early = [at + step for at, _ in things for step in (0, 1, 1_000)] + list(
        range(0, until, max(1, until // 50))
    )
    early = [at for at in early if at <= until]
    assert _drive(disturbed, things, until, early) == sent, "an early tick changed what was sent"
    assert state(disturbed) == state(plain), "an early tick changed the outcome"
    asked = make()
    first = asked.next_wakeup()
    assert asked.next_wakeup() == first, "asking for the wakeup changed it"
