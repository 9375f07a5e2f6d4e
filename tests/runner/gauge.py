"""One node in virtual time for tests of the runner: the independent node without its socket."""

from collections.abc import Iterable

from wall.plain_node import PlainNode, bench_text

from hil.bench.loop import drive
from hil.bench.virtual import VirtualBench
from hil.core.event import Event
from hil.core.instant import Instant
from hil.core.observation import Abort
from hil.core.plan import Case
from hil.files.read import read_plan, read_rack
from hil.runner.session import Session
from hil.wire.link import Links
from hil.wire.rack import Envelope, Rack

PLAN = """\
plan: Gauge
cases:
  - case: the lamp turns red
    precondition: {gauge.lamp: green}
    steps:
      - stimulus: {gauge.pressure: 4.8 bar}
        expect: [{signal: gauge.lamp, value: red, within: 500 ms}]
  - case: the arm moves
    steps:
      - stimulus: {gauge.arm: 45 deg}
        expect: [{signal: gauge.arm, value: 45 deg, tolerance: 1 deg, within: 500 ms}]
"""


class Gauge:
    """The node as a machine; `mute` says nothing, `stuck` keeps its arm where it is."""

    def __init__(self, *, mute: bool = False, stuck: float | None = None) -> None:
        self.node = PlainNode()
        self._mute, self._stuck = mute, stuck
        self._sends: list[Envelope] = []
        self.heard: list[bytes] = []
        if stuck is not None:
            self.node.arm = round(stuck * 10)

    def receive(self, envelope: Envelope, now: Instant) -> None:
        self.heard.append(envelope.payload)
        if self._mute:
            return
        replies = self.node.take(envelope.payload, tuple(envelope.source))
        if self._stuck is not None:
            self.node.arm = round(self._stuck * 10)
            replies = [reply for reply in replies if reply[0] == 0x22] + [self.node.reading()]
        self._sends += [Envelope(envelope.destination, envelope.source, reply) for reply in replies]

    def tick(self, now: Instant) -> None: ...

    def next_wakeup(self) -> Instant | None:
        return None

    def take_sends(self) -> tuple[Envelope, ...]:
        sends, self._sends = tuple(self._sends), []
        return sends


def describe(folder, plan: str = PLAN) -> tuple[Rack, tuple[Case, ...]]:
    """Write and read the gauge's bench file and a plan."""
    (folder / "bench.yaml").write_text(bench_text(47_123))
    (folder / "plan.yaml").write_text(plan)
    rack = read_rack(str(folder / "bench.yaml"))
    return rack, read_plan(str(folder / "plan.yaml"), rack).cases


def sit(
    rack: Rack,
    cases: Iterable[Case],
    gauge: Gauge,
    *,
    repair: bool = False,
    abort_at: int | None = None,
) -> tuple[Session, list[Event]]:
    """Hold a session in virtual time; return it and its events."""
    aborts = [] if abort_at is None else [abort_at]

    def abort(now: Instant) -> Abort | None:
        if aborts and now >= aborts[0]:
            aborts.clear()
            return Abort(reason="ended by SIGTERM", at=now, patience=1_000_000_000)
        return None

    bench = VirtualBench(rack, gauge, abort=abort)
    session = Session(rack, tuple(cases), Instant(0), repair=repair)
    events: list[Event] = []
    drive(session, Links(rack, Instant(0)), bench, events.append, origin=Instant(0))
    return session, events
