"""A node's clock in bounds: exact synthetic exchanges with known drift and known processing."""

from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from core.paper import ms
from measure.meters import START, finding, number

from hil.core.instant import Instant
from hil.core.observation import Samples
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


def exchange(number, asked, ppm=0, boots=1, inside=INSIDE):
    """Return one reading asked for at `asked` ms, stamped by a clock that gains so many ppm."""
    since = START + ms(asked)
    stamped = since + OUT + inside
    count = Fraction(stamped - START) * (1_000_000 + ppm) / 1_000_000
    uptime = (int(count) + ms(5000)) // 1_000_000 * 1_000_000
    raw = CODEC.encode(values=VALUES, node=5, sequence=number, uptime=uptime, boots=boots)
    at = Instant(stamped + BACK)
    sample = Sample("circulator.duty", Decimal(0), Validity.VALID, Instant(since), at, raw=raw)
    return at, Samples("circulator", [sample])


def judge(part, low, high, things, outward=None):
    ends = [None if end is None else Decimal(str(end)) for end in (low, high)]
    bound = Bound(low=ends[0], high=ends[1], words="so much")
    measure = Clocking(node=FAN, part=part, bound=bound, outward=outward, window=ms(10_100))
    return finding(
        measure,
        [number("circulator.duty", "%")],
        things,
        paths=("circulator.duty",),
        until=11_000,
    )


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
