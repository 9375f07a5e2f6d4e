"""Where a response time went, told from stamps of a clock whose truth is known."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from core.paper import ms
from measure.meters import START, expecting, label, scene

from hil.core.instant import Duration, Instant
from hil.core.observation import Exchanged, NodeNote, NodeTrouble, Samples
from hil.core.plan import OneOf
from hil.core.signal import Sample, Validity
from hil.core.verdict import Outcome
from hil.files.read import read_rack
from hil.measure.bound import Bound
from hil.measure.splitting import ResponseSplit, Share
from hil.wire.layout import Codec
from hil.wire.rack import Role

RACK = read_rack(Path(__file__).parents[2] / "fixtures" / "glasshouse.yaml")
BEACON = next(node for node in RACK.nodes if node.name == "beacon")
CODEC = Codec(next(one for one in BEACON.layouts if one.role is Role.READING), BEACON)
LAMP = label("beacon.lamp", "off", "green", "amber", "red", "blue")
OUT, INSIDE, BACK = 300_000, 40_000_000, 2_000_000  # ns: the truth of the response
TICK = 1_000_000
BOOTED = ms(90_000)


def count(instant, ppm, first):
    """Return what the node's counter shows: it gains so many ppm, and showed `first` at START."""
    gained = Fraction(instant - START) * (1_000_000 + ppm) / 1_000_000
    return (int(first + gained) // TICK * TICK) % CODEC.uptime_span


def history(ppm, first):
    """Exchanges every 500 ms up to the stimulus, a third of them quick."""
    found = []
    for number in range(40):
        sent = START - ms(500) * (40 - number)
        inside = 50_000 if number % 3 == 0 else 8_000_000
        stamped = sent + 100_000 + inside
        found.append(
            Exchanged(
                node="beacon",
                sent=Instant(sent),
                at=Instant(stamped + 100_000),
                stamp=count(stamped, ppm, first),
                span=CODEC.uptime_span,
                tick=Duration(TICK),
            )
        )
    return found


def reading(lamp, instant, ppm, first):
    values = {"lamp": lamp, "power": "run", "serial": "GH-0107", "firmware": "1.4.2"}
    uptime = count(instant, ppm, first)
    raw = CODEC.encode(values=values, node=7, sequence=1, uptime=uptime, boots=1)
    at = Instant(instant + BACK)
    return at, Samples("beacon", [Sample("beacon.lamp", lamp, Validity.VALID, at, at, raw=raw)])


def split(share, high, *, ppm=0, first=BOOTED, things=None, exchanges=None, outward=500_000):
    bound = Bound(low=None, high=Decimal(high), words="so much")
    outward = None if outward is None else Duration(outward)
    measure = ResponseSplit(
        node=BEACON, share=share, bound=bound, outward=outward, window=Duration(ms(150))
    )
    wanted = replace(expecting(measure, "beacon.lamp"), condition=OneOf(values=("red",)))
    known = scene([LAMP])
    for one in history(ppm, first) if exchanges is None else exchanges:
        known.exchange(one)
    (meter,) = measure.begin(known, wanted, START)
    meter.stimulated(START)
    if things is None:
        things = [
            reading("green", START + ms(10), ppm, first),
            reading("red", START + OUT + INSIDE, ppm, first),
            reading("red", START + ms(90), ppm, first),
        ]
    for at, thing in things:
        meter.receive(thing, at)
    meter.tick(Instant(START + ms(150) + 1))
    return meter.finding


@pytest.mark.parametrize("ppm", [0, 40, -900, 5_000])
@pytest.mark.parametrize(("share", "truth"), [(Share.PROCESSING, INSIDE), (Share.RETURN, BACK)])
def test_the_true_part_lies_within_its_bounds(share, truth, ppm):
    found = split(share, ms(60), ppm=ppm)
    (figure,) = found.figures

    assert found.outcome is Outcome.PASS
    assert figure.low <= truth <= figure.high
    assert figure.high - figure.low < 3_000_000  # a count of 1 ms, the quickest exchange, the drift


def test_a_counter_that_wraps_between_exchange_and_response_changes_nothing():
    wrapping = CODEC.uptime_span - ms(3)
    (figure,) = split(Share.PROCESSING, ms(60), first=wrapping, ppm=40).figures

    assert figure.low <= INSIDE <= figure.high < INSIDE + 3_000_000


def test_a_response_that_took_too_long_inside_fails_and_says_how_it_was_split():
    found = split(Share.PROCESSING, ms(30))

    assert found.outcome is Outcome.FAIL
    assert found.said.startswith("answered after 42.3 ms, of which processing")
    assert found.margin < 0


def test_a_limit_between_the_bounds_is_not_decided():
    found = split(Share.PROCESSING, INSIDE)

    assert found.outcome is Outcome.INCONCLUSIVE
    assert found.said.endswith("the limit lies in between")


REBOOT = NodeNote(node="beacon", trouble=NodeTrouble.REBOOT, at=START, text="booted")


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"things": []}, "there was no response"),
        ({"exchanges": []}, "no exchange with beacon told its time"),
        (
            {"things": [(START, REBOOT), reading("red", START + ms(40), 0, ms(90_000))]},
            "beacon booted in between",
        ),
        (
            {"exchanges": [replace(one, tick=Duration(1000)) for one in history(0, 0)]},
            "beacon counts its time differently in its datagrams",
        ),
    ],
)
def test_what_cannot_be_split_is_inconclusive_and_says_why(change, why):
    found = split(Share.PROCESSING, ms(60), **change)

    assert (found.outcome, found.got) == (Outcome.INCONCLUSIVE, why)


def test_a_clock_that_was_set_fits_no_line():
    moved = [replace(one, stamp=one.stamp + ms(700)) for one in history(0, ms(90_000))[20:]]
    found = split(Share.RETURN, ms(60), exchanges=history(0, ms(90_000))[:20] + moved)

    assert found.outcome is Outcome.INCONCLUSIVE
    assert "no even clock fits" in found.got


def test_what_was_red_before_the_stimulus_is_no_response():
    early = START - ms(1)  # stamped and looked at before it, heard after it
    at, seen = reading("red", early, 0, BOOTED)
    (sample,) = seen.samples
    old = Samples("beacon", [replace(sample, since=Instant(early))])
    found = split(
        Share.PROCESSING, ms(60), things=[(at, old), reading("red", START + ms(40), 0, BOOTED)]
    )

    assert found.said.startswith("answered after 42 ms, ")


def test_exchanges_that_count_time_in_two_ways_are_not_mixed():
    mixed = [*history(0, BOOTED)[:-1], replace(history(0, BOOTED)[-1], tick=Duration(1000))]

    assert split(Share.RETURN, ms(60), exchanges=mixed).got.startswith("beacon counts its time")
