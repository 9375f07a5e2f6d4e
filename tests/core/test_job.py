"""A job in a step: a dialogue that judges by itself."""

from dataclasses import replace
from decimal import Decimal

from core.paper import at, case, deaf, is_red, ms, play, step

from hil.core.driving import Progress
from hil.core.event import CaseEnded, CommandLogged
from hil.core.observation import Abort, HostNote, HostTrouble, Purpose
from hil.core.plan import Step
from hil.core.verdict import Outcome


class Sweep:
    """Drives a pressure up in so many commands, and fails where one was not accepted."""

    drives = ("feedline.pressure",)
    watches = ()

    def __init__(self, count):
        self.count = count

    def begin(self, scene, where, index, step, start):
        return Sweeping(scene, where, self.count, start)


class Sweeping:
    def __init__(self, scene, where, count, start):
        self.scene, self.where, self.left = scene, where, count
        self.outcomes, self.reasons = [], []
        self.trip = None
        self._next(start)

    @property
    def done(self):
        return self.left == 0

    def receive(self, seen, now):
        self._next(now)

    def tick(self, now):
        self._next(now)

    def next_wakeup(self):
        return None

    def break_off(self, reason, now):
        self.outcomes.append(Outcome.ERROR)
        self.reasons.append(f"{self.where}: {self.left} commands were not run: {reason}")

    def _next(self, now):
        if self.trip is not None and self.trip.over:
            accepted = self.trip.progress is Progress.ACCEPTED
            self.outcomes.append(Outcome.PASS if accepted else Outcome.FAIL)
            if not accepted:
                self.reasons.append(f"{self.where}: {self.trip.detail}")
            self.trip, self.left = None, self.left - 1
        if self.trip is None and self.left:
            self.trip = self.scene.driving.send(
                "feedline.pressure", Decimal(self.left), Purpose.STIMULUS
            )


def sweep(count: int) -> Step:

    return replace(step(expectations=[is_red(within=ms(9000))]), job=Sweep(count))


def kinds(events, kind):
    return [event for event in events if isinstance(event, kind)]


def test_a_job_drives_until_it_is_done_and_is_put_back():
    machine, events = play([case(sweep(5))])
    sent = [e for e in kinds(events, CommandLogged) if e.state == "accepted"]

    assert machine.outcome is Outcome.PASS
    assert [e.purpose for e in sent][:6] == ["stimulus"] * 5 + ["restore"]


def test_what_a_job_found_decides_the_case():
    machine, events = play([case(sweep(2))], answer=deaf)
    (ended,) = kinds(events, CaseEnded)

    assert machine.outcome is Outcome.FAIL
    assert "over-pressure, step 1: no answer from feedline within 50 ms" in ended.reasons


def test_a_late_host_excuses_what_a_job_found():
    note = HostNote(trouble=HostTrouble.LATE, at=at(60), amount=1, text="host late 60 ms")
    machine, events = play([case(sweep(2))], answer=deaf, things=[(at(60), note)])

    assert machine.outcome is Outcome.INCONCLUSIVE
    assert "host late 60 ms" in kinds(events, CaseEnded)[0].reasons


def test_an_abort_lets_a_job_keep_what_it_has():
    abort = Abort(reason="SIGINT", at=at(60), patience=ms(10))
    stages = []

    class Watched(Sweep):
        def begin(self, *given):
            stages.append(super().begin(*given))
            return stages[-1]

    one = sweep(3)
    object.__setattr__(one, "job", Watched(3))
    machine, _ = play([case(one)], answer=deaf, things=[(at(60), abort)])

    assert machine.aborted == "SIGINT"
    assert stages[0].outcomes == [Outcome.FAIL, Outcome.ERROR]
    assert "2 commands were not run" in stages[0].reasons[-1]
