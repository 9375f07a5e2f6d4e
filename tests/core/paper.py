"""Signals, expectations and plans on paper, for tests of the core."""

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal

from hil.core.engine import Run
from hil.core.error import Mark
from hil.core.event import Event
from hil.core.instant import MILLISECOND, ZERO, Duration, Instant
from hil.core.observation import (
    Command,
    CommandAnswered,
    CommandLost,
    CommandSent,
    Observation,
    Samples,
)
from hil.core.plan import Case, Condition, Expectation, Limits, OneOf, Step, Stimulus, Timing
from hil.core.signal import Drive, Kind, Sample, Signal, Validity, Value

MARK = Mark("paper.yaml", 1, 1)


def ms(count: float) -> Duration:
    return Duration(int(count * MILLISECOND))


def at(count: float) -> Instant:
    return Instant(int(count * MILLISECOND))


def number(path: str = "feedline.pressure", **more: object) -> Signal:
    node, name = path.split(".", 1)
    return Signal(node=node, name=name, kind=Kind.NUMBER, unit="bar", **more)  # type: ignore[arg-type]


def label(path: str = "beacon.lamp", **more: object) -> Signal:
    node, name = path.split(".", 1)
    return Signal(node=node, name=name, kind=Kind.LABEL, labels=("off", "green", "red"), **more)  # type: ignore[arg-type]


def limits(low: str | None, high: str | None, **more: object) -> Limits:
    return Limits(
        low=None if low is None else Decimal(low),
        high=None if high is None else Decimal(high),
        **more,  # type: ignore[arg-type]
    )


def sample(
    when: float, value: str | None, signal: str = "feedline.pressure", since: float | None = None
) -> Sample:
    """Make a sample at `when` ms; a value of None is a sensor fault, `stale` is a stale one."""
    validity = Validity.VALID
    carried: Value | None = None
    if value is None:
        validity = Validity.INVALID
    elif value == "stale":
        validity = Validity.STALE
    else:
        carried = value if value.isalpha() else Decimal(value)
    return Sample(signal, carried, validity, at(when if since is None else since), at(when))


def expect(
    condition: Condition, signals: str | tuple[str, ...] = "feedline.pressure", **timing: object
) -> Expectation:
    names = (signals,) if isinstance(signals, str) else signals
    return Expectation(
        signals=names,
        condition=condition,
        timing=Timing(**timing),  # type: ignore[arg-type]
        wanted="what was wanted",
        when="in time",
        mark=MARK,
    )


def is_red(signals: str = "beacon.lamp", **timing: object) -> Expectation:
    return expect(OneOf(values=("red",)), signals, **timing)


def step(
    stimuli: Mapping[str, str] | None = None,
    expectations: Sequence[Expectation] = (),
    wait: Duration = ZERO,
) -> Step:
    given = tuple(
        Stimulus(signal=path, value=value if value.isalpha() else Decimal(value), mark=MARK)
        for path, value in (stimuli or {}).items()
    )
    return Step(stimuli=given, expectations=tuple(expectations), wait=wait, mark=MARK)


def case(*steps: Step, title: str = "over-pressure", **more: object) -> Case:
    given: dict[str, object] = {
        "plan": "feed",
        "variation": "",
        "requirements": (),
        "tags": (),
        "precondition": (),
        "restore": True,
        "reboots": (),
        "skip": "",
    }
    return Case(title=title, steps=steps, mark=MARK, **(given | more))  # type: ignore[arg-type]


PRESSURE = number(
    low=Decimal(0),
    high=Decimal(10),
    drive=Drive(safe=Decimal(2), rest=Decimal(2), actuator=False),
)
LAMP = label(drive=Drive(safe="off", rest="green"))
SIGNALS = {PRESSURE.path: PRESSURE, LAMP.path: LAMP}

Answer = Callable[[Command, Instant], Sequence[tuple[int, Observation]]]


def obedient(command: Command, now: Instant) -> list[tuple[int, Observation]]:
    """Accept after 1 ms; the lamp follows the pressure 5 ms after the command."""
    found: list[tuple[int, Observation]] = [
        (now + ms(1), CommandAnswered(token=command.token, at=Instant(now + ms(1)), accepted=True))
    ]
    if command.signal == "feedline.pressure":
        assert isinstance(command.value, Decimal)
        colour = "red" if command.value > 4 else "green"
        when = Instant(now + ms(5))
        seen = Sample("beacon.lamp", colour, Validity.VALID, when, when)
        found.append((when, Samples("beacon", [seen])))
    return found


def deaf(command: Command, now: Instant) -> list[tuple[int, Observation]]:
    """Never answer; the link gives up after 50 ms."""
    when = Instant(now + ms(50))
    lost = CommandLost(token=command.token, at=when, detail="no answer from feedline within 50 ms")
    return [(when, lost)]


def play(
    cases: Sequence[Case],
    answer: Answer = obedient,
    things: Sequence[tuple[int, Observation]] = (),
    signals: Mapping[str, Signal] = SIGNALS,
    retries: int = 0,
) -> tuple[Run, list[Event]]:
    """Run cases against an answering function in virtual time; return the run and its events."""
    machine = Run(signals=signals, cases=cases, start=Instant(0), retries=retries)
    queue: list[tuple[int, int, Observation]] = [
        (when, i, thing) for i, (when, thing) in enumerate(things)
    ]
    events: list[Event] = []
    now, serial = 0, len(queue)
    for _ in range(100_000):
        for command in machine.take_sends():
            if isinstance(command, Command):
                sent = CommandSent(token=command.token, at=Instant(now))
                machine.receive(sent, Instant(now))
            for when, thing in answer(command, Instant(now)):
                serial += 1
                queue.append((when, serial, thing))
        events += machine.take_events()
        if machine.done:
            return machine, events
        queue.sort(key=lambda entry: entry[:2])
        wakeup = machine.next_wakeup()
        if queue and (wakeup is None or queue[0][0] <= wakeup):
            now, _, thing = queue.pop(0)
            machine.receive(thing, Instant(now))
        else:
            assert wakeup is not None, "the run waits for ever"
            now = max(now, wakeup)
            machine.tick(Instant(now))
    raise AssertionError("the run does not end")


OVER_RED = step(
    {"feedline.pressure": "4.8"},
    [is_red(within=ms(50)), is_red(within=ms(60), hold=ms(20)), is_red(during=(ms(10), ms(40)))],
)
