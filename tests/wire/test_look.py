"""Readings are kept as octets; their samples are made when somebody looks, and are the same."""

from dataclasses import replace
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st
from wire.racks import FEEDLINE, number, reading, sensor, signal_field

from hil.core.instant import MILLISECOND, Duration, Instant
from hil.core.signal import Validity
from hil.wire.layout import Codec
from hil.wire.look import Look, Origin
from hil.wire.rack import Carries
from hil.wire.track import FINE, Track

STATE = Codec(FEEDLINE.layouts[2], FEEDLINE)
OCTETS = STATE.encode({"pressure": Decimal("4.80"), "temperature": None, "pump": "on"}, boots=1)
AT = Instant(1_000 * MILLISECOND)


def look(booted=None, note="", node=FEEDLINE):
    return Look(Origin(STATE, node), OCTETS, Instant(AT - 5), AT, note, booted)


def test_a_look_names_its_signals_without_decoding_anything():
    seen = Look(Origin(STATE, FEEDLINE), b"no reading at all", AT, AT, "", None)

    assert ("feedline", STATE.signals) == (seen.node, seen.signals)


def test_the_samples_are_made_once_and_are_those_of_the_datagram():
    seen = look()

    assert seen.samples is seen.samples
    assert [(s.signal, s.value, s.validity, s.since, s.at, s.raw) for s in seen.samples] == [
        (signal, value, validity, AT - 5, AT, OCTETS)
        for signal, value, validity, _ in STATE.decode(OCTETS).readings
    ]


def test_wanted_samples_alone_are_the_same_as_among_all():
    seen = look(note="odd")
    wanted = {"feedline.pump", "feedline.pressure"}

    assert [s for s in seen.samples if s.signal in wanted] == list(look(note="odd").of(wanted))


def test_what_was_known_at_the_arrival_counts_however_late_somebody_looks():
    slow = Duration(300 * MILLISECOND)
    signals = tuple(
        replace(each, warmup=slow) if each.name == "pump" else each for each in FEEDLINE.signals
    )
    node = replace(FEEDLINE, signals=signals)

    cold = look(booted=Instant(AT - slow + 1), note="odd", node=node)
    warm = look(booted=Instant(AT - slow), node=node)

    (pump,) = cold.of({"feedline.pump"})
    assert (pump.validity, pump.note) == (Validity.STALE, "warming up; odd")
    (pump,) = warm.of({"feedline.pump"})
    assert (pump.validity, pump.note) == (Validity.VALID, "")


COUNTED = reading(signal_field("t", "i16"), boots=True)
TINY = replace(
    COUNTED,
    fields=tuple(
        number("sequence", "u8", Carries.SEQUENCE) if each.name == "sequence" else each
        for each in COUNTED.fields
    ),
)


@settings(deadline=None)
@given(
    st.sampled_from((COUNTED, TINY)),
    st.lists(st.tuples(st.integers(0, 12_000), st.sampled_from((1, 1, 1, 1, 0, 2, 3, -1, -5, 70)))),
    st.integers(0, 70_000),
)
def test_the_short_way_of_the_counters_leads_where_the_long_one_does(layout, steps, sequence):
    codec = Codec(layout, sensor(layout))
    short, long, now = Track(), Track(), 0
    for wait, step in steps:
        now, sequence = now + wait * MILLISECOND, max(0, sequence + step)
        head = codec.head(
            codec.encode({"t": Decimal(1)}, sequence=sequence, boots=7, uptime=now + 900)
        )
        judged = long.judge(codec, head, Instant(now))
        known = short.booted is not None  # a first reading has nothing that it could follow
        followed = known and short.follow(codec, head, Instant(now))

        assert followed or short.judge(codec, head, Instant(now)) == judged
        assert not followed or judged is FINE
        assert [getattr(short, name) for name in Track.__slots__] == [
            getattr(long, name) for name in Track.__slots__
        ]
