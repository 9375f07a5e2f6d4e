"""A node's clock in bounds: exact synthetic exchanges with known drift and known processing."""

from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from core.paper import SIGNALS, at, case, ms, obedient, play, step
from laws import obey, run
from measure.meters import START, expecting, number, scene

from hil.core.event import CheckDecided
from hil.core.instant import Instant
from hil.core.observation import Exchanged, HostNote, HostTrouble, Samples
from hil.core.signal import Sample, Validity
from hil.core.verdict import Outcome
from hil.files.read import read_rack
from hil.measure.bound import Bound
from hil.measure.clocking import Clocking, Part
from hil.wire.layout import Codec

RACK = read_rack(Path(__file__).parents[2] / "fixtures" / "glasshouse.yaml")
FAN = next(node for node in RACK.nodes if node.name == "circulator")
CODEC = Codec(next(one for one in FAN.layouts if one.name == "circulator-reading"), FAN)
VALUES = {
    "duty": Decimal(0),
    "speed": Decimal(0),
    "tint": "off",
    "power": "run",
    "serial": "GH-0105",
    "firmware": "1.4.2",
}
OUT, INSIDE, BACK = 200_000, 3_000_000, 400_000  # ns


def exchange(number, asked, ppm=0, boots=1, inside=INSIDE, back=BACK):
    """Return one reading asked for at `asked` ms, stamped by a clock that gains so many ppm."""
    since = START + ms(asked)
    stamped = since + OUT + inside
    count = Fraction(stamped - START) * (1_000_000 + ppm) / 1_000_000
    uptime = (int(count) + ms(5000)) // 1_000_000 * 1_000_000
    raw = CODEC.encode(values=VALUES, node=5, sequence=number, uptime=uptime, boots=boots)
    at = Instant(stamped + back)
    sample = Sample("circulator.duty", Decimal(0), Validity.VALID, Instant(since), at, raw=raw)
    return at, Samples("circulator", [sample])


class Engine:
    """A meter, with what the engine does for it: it remembers exchanges that are certain.

    Uncertain are those asked for in `doubtful` (ms).
    """

    def __init__(self, measure, doubtful):
        duty = number("circulator.duty", "%")
        self.scene, self.doubtful = scene([duty]), [START + ms(asked) for asked in doubtful]
        (self.meter,) = measure.begin(self.scene, expecting(measure, duty.path), START)
        self.meter.stimulated(START)
        self.tick, self.next_wakeup = self.meter.tick, self.meter.next_wakeup
        self.take_sends = self.meter.take_sends

    def receive(self, seen, now):
        (sample,) = seen.samples
        if sample.since not in self.doubtful and sample.since < sample.at:
            stamp = CODEC.decode(sample.raw).uptime
            self.scene.exchange(
                Exchanged(
                    node="circulator",
                    sent=sample.since,
                    at=sample.at,
                    stamp=stamp,
                    span=CODEC.uptime_span,
                    tick=ms(1),
                )
            )
        self.meter.receive(seen, now)


def judge(part, low, high, things, outward=None, doubtful=()):
    ends = [None if end is None else Decimal(str(end)) for end in (low, high)]
    bound = Bound(low=ends[0], high=ends[1], words="so much")
    measure = Clocking(node=FAN, part=part, bound=bound, outward=outward, window=ms(10_100))
    end = START + ms(11_000)
    obey(lambda: Engine(measure, doubtful), things, end, lambda engine: engine.meter.finding)
    engine = Engine(measure, doubtful)
    run(engine, things, end)
    return engine.meter.finding


def polled(ppm=0):
    """Return exchanges of which every other one is quick: those bound the clock for the rest."""
    return [
        exchange(n, 53.7 * (n + 1), ppm, inside=INSIDE if n % 2 else 100_000) for n in range(186)
    ]


@pytest.mark.parametrize("ppm", [0, 150, -700])
def test_the_true_drift_lies_within_its_bounds(ppm):
    found = judge(Part.DRIFT, ppm - 1000, ppm + 1000, polled(ppm))
    (figure,) = found.figures

    assert found.outcome is Outcome.PASS
    assert figure.low <= ppm <= figure.high
    assert figure.unit == "ppm" and figure.high - figure.low < 1000


@pytest.mark.parametrize(
    ("part", "truth"),
    [(Part.RETURN, BACK), (Part.PROCESSING, INSIDE), (Part.ROUND_TRIP, 3_600_000)],
)
def test_the_true_part_lies_within_its_bounds(part, truth):
    found = judge(part, None, ms(20), polled(80), outward=300_000)
    (figure,) = found.figures

    assert found.outcome is Outcome.PASS
    assert figure.low <= truth <= figure.high
    assert figure.high - figure.low < 2_500_000


def test_one_slow_answer_is_the_worst():
    things = polled()
    things[100] = exchange(100, 53.7 * 101, inside=ms(30))
    found = judge(Part.PROCESSING, None, ms(20), sorted(things), outward=300_000)

    assert found.outcome is Outcome.FAIL
    assert found.figures[0].low > ms(20)


def test_a_reading_of_which_request_nobody_knows_bounds_the_clock_from_one_side_only():
    # late by more than the next request: taken for its answer, it left before that was sent
    things = polled()
    things[100] = exchange(100, 53.7 * 101 + 1, inside=ms(-5), back=ms(6))
    sure = judge(Part.DRIFT, -1000, 1000, things, doubtful=[53.7 * 101 + 1])
    fooled = judge(Part.DRIFT, -1000, 1000, things)

    assert sure.outcome is Outcome.PASS and sure.figures[0].low <= 0 <= sure.figures[0].high
    assert "no even clock fits the stamps" in fooled.said


@pytest.mark.parametrize(
    ("things", "why"),
    [
        ([exchange(1, 50)], "1 stamped readings came"),
        ([exchange(1, 50), exchange(2, 100, boots=2)], "the node booted in between"),
        (
            [*[exchange(n, 50 * n) for n in range(1, 20)], exchange(20, 1000, ppm=500_000)],
            "no even clock fits the stamps",
        ),
    ],
)
def test_what_cannot_be_bounded_says_why(things, why):
    found = judge(Part.DRIFT, -100, 100, things)

    assert found.outcome is Outcome.INCONCLUSIVE and why in found.said


def test_a_limit_within_the_figure_is_said_to_be_there():
    found = judge(Part.DRIFT, -1, 1, polled())

    assert found.outcome is Outcome.INCONCLUSIVE
    assert found.said.endswith("exchanges: the limit lies in between")


def test_a_late_bench_is_told_beside_what_it_may_have_spoilt():
    bound = Bound(low=None, high=Decimal(1), words="so much")
    measure = Clocking(node=FAN, part=Part.RETURN, bound=bound, outward=None, window=ms(1000))
    asked = expecting(measure, "circulator.duty", wanted="so little")
    late = HostNote(trouble=HostTrouble.LATE, at=at(500), amount=ms(63), text="woke late by 63 ms")
    _, events = play(
        [case(step(expectations=[asked]))],
        obedient,
        [(ms(500), late)],
        SIGNALS | {"circulator.duty": number("circulator.duty", "%")},
    )
    (check,) = [event for event in events if isinstance(event, CheckDecided)]

    assert check.outcome == "inconclusive"
    assert check.text.endswith("wanted so little; woke late by 63 ms")
