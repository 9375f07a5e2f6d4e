"""Somebody's capture as a recording: where in it the cases of plans are.

A capture has datagrams and instants, and no cases.  A case is where its stimuli were sent, one step
after the other, after those of the case before it; it lasts until the next case that was found, or to
the end.  Where a step began before its stimulus left is not known, and not needed.  Of a case that is
not found, or has nothing to find it by, the recording says so: it is skipped.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from hil.core.event import (
    CaseEnded,
    CommandLogged,
    Datagram,
    Event,
    RunEnded,
    RunStarted,
    StepStarted,
)
from hil.core.instant import Instant
from hil.core.plan import Case, Plan, Step
from hil.core.signal import Signal, Value, show_value
from hil.core.telling import case_begun, case_unjudged, skipped
from hil.core.verdict import Outcome
from hil.report.capture.headers import unwrap
from hil.report.capture.pcapng import Captured
from hil.runner.selection import nodes_used
from hil.wire.overheard import Overheard
from hil.wire.rack import Rack
from hil.wire.said import Driven, Replied

_UNFOUND = "its stimuli are not in the capture, in this order and after those of the case before"
_NOTHING = "it has no stimulus by which to find it in a capture"
_DIALOGUE = "its dialogue cannot be told from a capture"


@dataclass(slots=True)
class _Sent:
    """A command in the capture, and what became of it."""

    at: Instant
    node: str
    driven: Driven
    ended: Instant
    state: str = "lost"
    detail: str = "no answer in the capture"


@dataclass(frozen=True, slots=True)
class _Found:
    """A case in the capture: of each step with stimuli, the commands that are them."""

    case: Case
    steps: tuple[tuple[int, tuple[int, ...]], ...]


def placed(packets: Iterable[Captured], rack: Rack, plans: Sequence[Plan]) -> list[Event]:
    """Return a capture as the journal of a run of these plans on this rack."""
    datagrams = list(_datagrams(packets, rack))
    commands = _commands(datagrams, rack)
    end = datagrams[-1].at if datagrams else Instant(0)
    told = [(plan, case) for plan in plans for case in plan.cases]
    # At one instant what came in is older than what was done about it.
    events: list[tuple[Instant, int, Event]] = [(each.at, 0, each) for each in datagrams]
    events += [(event.at, 4, event) for event in _logged(commands, rack)]
    position = 0
    open_case: tuple[int, _Found] | None = None
    for index, (_, case) in enumerate(told):
        why = _cannot(case, rack)
        found = None if why else _find(case, commands, position)
        if found is None:
            at = commands[position - 1].at if position else Instant(0)
            events += [(at, 5, event) for event in skipped(case, index, at, why or _UNFOUND)]
            continue
        before = commands[position - 1].at if position else Instant(0)
        first = max(
            before, Instant(commands[found.steps[0][1][0]].at - _lead(case, rack.signals()))
        )
        if open_case is not None:
            events.append((first, 1, _end(open_case, first)))
        events += _begin(index, found, first, commands)
        open_case = index, found
        position = max(found.steps[-1][1]) + 1
    if open_case is not None:
        events.append((end, 6, _end(open_case, end)))
    events.sort(key=lambda entry: entry[:2])
    return [_started(rack, plans, told), *(event for _, _, event in events), _over(end)]


def _datagrams(packets: Iterable[Captured], rack: Rack) -> Iterator[Datagram]:
    """Yield what was said to a node, and what a node said to somebody who is none."""
    names = {node.address: node.name for node in rack.nodes if node.address.port}
    began: int | None = None
    for captured in sorted(packets, key=lambda one: one.at):
        carried = unwrap(captured.octets, captured.link)
        if carried is None:
            continue
        node = names.get(carried.destination)
        way = "out" if node is not None else "in"
        node = node or names.get(carried.source)
        if node is not None:
            began = captured.at if began is None else began
            at = Instant(captured.at - began)
            yield Datagram(at=at, way=way, node=node, hex=carried.payload.hex())


def _commands(datagrams: Sequence[Datagram], rack: Rack) -> list[_Sent]:
    """Return the commands in the capture, in order, each with its answer."""
    within = {node.name: node.answer_within for node in rack.nodes}
    overheard, found = Overheard(rack), list[_Sent]()
    waiting: dict[tuple[str, int | None, int | None], _Sent] = {}
    for each in datagrams:
        octets = bytes.fromhex(each.hex)
        if each.way == "out":
            driven = overheard.sent(each.node, octets, each.at)
            if driven is not None:
                sent = _Sent(each.at, each.node, driven, Instant(each.at + within[each.node]))
                waiting[each.node, driven.number, driven.operation] = sent
                found.append(sent)
            continue
        replied = overheard.came(each.node, None, octets, each.at)
        if isinstance(replied, Replied):
            answered = waiting.pop((each.node, replied.number, replied.operation), None)
            if answered is not None:
                answered.ended, answered.detail = each.at, replied.detail
                answered.state = "accepted" if replied.accepted else "refused"
    return found


def _find(case: Case, commands: Sequence[_Sent], position: int) -> _Found | None:
    steps = []
    for number, step in enumerate(case.steps, start=1):
        if not step.stimuli:
            continue
        places = []
        for stimulus in step.stimuli:
            place = _next(commands, position, stimulus.signal, stimulus.value)
            if place is None:
                return None
            places.append(place)
        steps.append((number, tuple(sorted(places))))
        position = max(places) + 1
    return _Found(case, tuple(steps))


def _next(commands: Sequence[_Sent], position: int, signal: str, value: Value) -> int | None:
    for place in range(position, len(commands)):
        driven = commands[place].driven
        if driven.signal == signal and driven.value == value:
            return place
    return None


def _cannot(case: Case, rack: Rack) -> str:
    if case.skip:
        return case.skip
    portless = {node.name for node in rack.nodes if not node.address.port}
    mute = [name for name in nodes_used(rack, (case,)) if name in portless]
    if mute:
        return f"{', '.join(mute)}: what stands on a console is in no capture"
    if any(step.job is not None or step.ask is not None for step in case.steps):
        return _DIALOGUE
    return "" if case.steps and case.steps[0].stimuli else _NOTHING


# --- events ------------------------------------------------------------------------------------


def _lead(case: Case, signals: Mapping[str, Signal]) -> int:
    """Return how long before its first stimulus a case begins at the latest, in nanoseconds.

    What a precondition must hold for is certain one nanosecond later, and a look later where the
    signal is looked at now and then.
    """
    needed = [
        (expectation.timing.hold or 0) + (signals[path].sampling or 0) + 1
        for expectation in case.precondition
        if expectation.timing.hold
        for path in expectation.signals
    ]
    return case.steps[0].wait + max(needed, default=0)


def _begin(
    index: int, found: _Found, first: Instant, commands: Sequence[_Sent]
) -> list[tuple[Instant, int, Event]]:
    case = found.case
    events: list[tuple[Instant, int, Event]] = [(first, 2, case_begun(case, index, 1, first))]
    if case.precondition:
        events.append((first, 2, StepStarted(at=first, index=index, step=0, place="")))
    for number, places in found.steps:
        alone = number == 1 and not case.precondition
        begun = first if alone else commands[places[0]].at
        step: Step = case.steps[number - 1]
        started = StepStarted(at=begun, index=index, step=number, place=str(step.mark))
        events.append((begun, 2, started))
    return events


def _end(open_case: tuple[int, _Found], at: Instant) -> CaseEnded:
    index, found = open_case
    return case_unjudged(found.case, index, at, Outcome.INCONCLUSIVE, "it is judged again")


def _logged(commands: Sequence[_Sent], rack: Rack) -> Iterator[CommandLogged]:
    signals = rack.signals()
    for token, sent in enumerate(commands, start=1):
        driven = sent.driven
        shown = show_value(driven.value, signals[driven.signal])
        for at, state, detail in ((sent.at, "sent", ""), (sent.ended, sent.state, sent.detail)):
            yield CommandLogged(
                at=at,
                token=token,
                signal=driven.signal,
                value=shown,
                purpose="stimulus",
                state=state,
                detail=detail,
            )


def _started(rack: Rack, plans: Sequence[Plan], told: Sequence[tuple[Plan, Case]]) -> RunStarted:
    return RunStarted(
        at=Instant(0),
        tool="",
        bench=rack.name,
        bench_file=rack.file,
        bench_digest=rack.digest,
        virtual=False,
        stamps="capture",
        plans=tuple((plan.title, plan.file, plan.digest) for plan in plans),
        cases=tuple((plan.file, case.title) for plan, case in told),
    )


def _over(at: Instant) -> RunEnded:
    """Nothing was driven from here, so nothing is left anywhere."""
    return RunEnded(at=at, outcome="", counts={}, aborted="", safe=True)
