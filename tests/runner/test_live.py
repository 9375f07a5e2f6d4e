"""Watching: courses, rates, bands, remarks; and what draws it every period."""

from decimal import Decimal

import pytest
from laws import obey

from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.core.observation import Abort, NodeNote, NodeTrouble, Samples
from hil.core.signal import Kind, Sample, Signal, Validity
from hil.files.read import read_alarms_with_findings, read_rack
from hil.runner.attended import Attended
from hil.runner.course import Course, Gap
from hil.runner.live import Live

PERIOD = Duration(250 * MILLISECOND)
PRESSURE = Signal(node="feedline", name="pressure", kind=Kind.NUMBER, unit="bar")
LAMP = Signal(node="beacon", name="lamp", kind=Kind.LABEL, labels=("off", "green", "amber", "red"))


def sample(signal, value, at=0, validity=Validity.VALID, note="", raw=b"\x31"):
    value = Decimal(str(value)) if isinstance(value, int | float) else value
    return Sample(signal.path, value, validity, Instant(at), Instant(at), note, raw)


def stale(signal, at=0):
    return sample(signal, None, at, Validity.STALE, "nothing for 500 ms", b"")


# --- one course -----------------------------------------------------------------------------------


def course(signal=PRESSURE):
    return Course(signal, PERIOD)


def test_a_period_keeps_the_value_that_is_farthest_from_the_one_before():
    one = course()
    for values in ([2.0], [2.0, 9.0, 2.1], [2.0, 0.5]):
        for value in values:
            one.take(sample(PRESSURE, value))
        one.beat()

    assert list(one.entries) == [2.0, 9.0, 0.5]


def test_a_value_in_force_goes_on():
    one = course()
    one.take(sample(PRESSURE, 2.0))
    for _ in range(3):
        one.beat()

    assert list(one.entries) == [2.0, 2.0, 2.0]


def test_gaps_are_not_values():
    one = course()
    one.beat()
    one.take(sample(PRESSURE, None, validity=Validity.INVALID))
    one.beat()
    one.take(stale(PRESSURE))
    one.beat()
    one.take(sample(PRESSURE, 3.0))
    one.beat()

    assert list(one.entries) == [None, Gap.INVALID, Gap.STALE, 3.0]


def test_a_short_fault_is_seen_in_the_period_it_was_in():
    one = course()
    one.take(sample(PRESSURE, None, validity=Validity.INVALID))
    one.take(sample(PRESSURE, 2.0))
    one.beat()

    assert list(one.entries) == [Gap.INVALID]


def test_the_rate_counts_readings_over_two_seconds():
    one = course()
    for _ in range(12):
        for _ in range(5):
            one.take(sample(PRESSURE, 2.0))
        one.beat()

    assert one.rate == 20.0


def test_the_news_that_nothing_comes_is_no_update():
    one = course()
    one.take(sample(PRESSURE, 2.0, at=7))
    one.take(stale(PRESSURE, at=500))
    one.beat()

    assert one.rate == 4.0
    assert one.heard == 7


def test_a_label_is_drawn_by_its_place():
    one = course(LAMP)
    for label in ("off", "red", "green"):
        one.take(sample(LAMP, label))
        one.beat()

    assert list(one.entries) == [0.0, 3.0, 1.0]


def test_of_a_text_one_sees_that_it_changed():
    text = Signal(node="tile", name="caption", kind=Kind.TEXT)
    one = course(text)
    for caption in ("A", "A", "B", "C"):
        one.take(sample(text, caption))
        one.beat()

    assert list(one.entries) == [1.0, 1.0, 0.0, 1.0]


# --- all of them ----------------------------------------------------------------------------------


def watch(**more):
    return Live([PRESSURE, LAMP], Instant(0), period=PERIOD, **more)


def reading(signal, value, at):
    return Samples(signal.node, [sample(signal, value, at)])


def test_every_course_gets_an_entry_at_the_end_of_each_period():
    live = watch()
    live.receive(reading(PRESSURE, 2.0, 10), Instant(10))
    live.tick(Instant(3 * PERIOD))

    assert [list(one.entries) for one in live.courses.values()] == [[2.0] * 3, [None] * 3]


def test_it_ends_after_its_time_or_when_somebody_wants_it():
    live = watch(length=Duration(SECOND))
    live.tick(Instant(SECOND))
    other = watch()
    other.receive(Abort(reason="x", at=Instant(5), patience=Duration(1)), Instant(5))

    assert (live.done, other.done) == (True, True)


def test_nothing_follows_from_a_reading():
    """So the loop asks nothing of it, however often readings come."""
    assert watch().receive(reading(PRESSURE, 2.0, 10), Instant(10)) is False


def test_remarks_are_kept_and_repeated_ones_counted():
    live = watch()
    for at in (1, 2):
        note = NodeNote(
            node="beacon", trouble=NodeTrouble.GARBLED, at=Instant(at), text="CRC wrong"
        )
        live.receive(note, Instant(at))

    assert [(one.text, one.times, one.at) for one in live.remarks] == [("garbled, CRC wrong", 2, 2)]


def test_a_closed_port_is_known_until_the_node_speaks():
    live = watch()
    note = NodeNote(node="beacon", trouble=NodeTrouble.UNREACHABLE, at=Instant(1), text="closed")
    live.receive(note, Instant(1))
    before = dict(live.closed)
    live.receive(reading(LAMP, "red", 2), Instant(2))

    assert (before, live.closed) == ({"beacon": "closed"}, {})


def test_watching_obeys_the_laws():
    things = [
        (100, reading(PRESSURE, 2.0, 100)),
        (PERIOD, reading(LAMP, "red", PERIOD)),
        (3 * PERIOD + 5, reading(PRESSURE, 5.0, 3 * PERIOD + 5)),
    ]

    obey(
        lambda: watch(length=Duration(6 * PERIOD)),
        things,
        8 * PERIOD,
        lambda live: (live.done, [list(one.entries) for one in live.courses.values()]),
    )


# --- alarm bands ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def glasshouse(request):
    fixtures = request.config.rootpath / "fixtures"
    rack = read_rack(fixtures / "glasshouse.yaml")
    return rack, read_alarms_with_findings([fixtures / "glasshouse-alarms.yaml"], rack).specs


def banded(glasshouse, *paths):
    rack, specs = glasshouse
    signals = rack.signals()
    return Live([signals[path] for path in paths], Instant(0), period=PERIOD, specs=specs)


def give(live, path, value, at, validity=Validity.VALID):
    signal = live.courses[path].signal if path in live.courses else None
    value = Decimal(str(value)) if isinstance(value, int | float) else value
    raw = Sample(path, value, validity, Instant(at), Instant(at), "", b"\x31")
    live.receive(Samples(path.partition(".")[0], [raw]), Instant(at))
    return signal


def bands(live, path):
    return [(one.band, one.colour, one.aside) for one in live.banding.standings(path)]


def test_a_band_trips_at_its_edge_and_clears_below_its_dead_band(glasshouse):
    """The levels are those of fixtures/glasshouse-alarms.yaml: red from 4.50 bar, 0.15 bar back."""
    live = banded(glasshouse, "feedline.pressure")
    seen = []
    for at, value in enumerate((2.4, 4.49, 4.5, 4.36, 4.35, 3.46, 3.45), start=1):
        give(live, "feedline.pressure", value, at)
        seen.append(bands(live, "feedline.pressure")[0][:2])

    assert seen == [
        ("normal", "green"),
        ("high", "amber"),
        ("over", "red"),
        ("over", "red"),
        ("high", "amber"),
        ("high", "amber"),
        ("normal", "green"),
    ]


def test_a_delayed_and_latched_alarm_is_shown_so(glasshouse):
    """Dry from 5 % down after 300 ms, latched; held for 300 ms after a start."""
    live = banded(glasshouse, "cistern.level")
    for at in range(0, 2 * SECOND, 100 * MILLISECOND):
        give(live, "cistern.level", 4.0, at)
    dry = bands(live, "cistern.level")[1]
    for at in range(2 * SECOND, 3 * SECOND, 100 * MILLISECOND):
        give(live, "cistern.level", 50.0, at)

    assert dry == ("dry", "red", "not acknowledged")
    assert bands(live, "cistern.level") == [
        ("normal", "green", ""),
        ("dry", "red", "latched"),
    ]


def test_silence_is_a_look_of_its_own(glasshouse):
    live = banded(glasshouse, "feedline.pressure")
    give(live, "feedline.pressure", 2.4, 0)
    live.tick(Instant(SECOND))

    assert bands(live, "feedline.pressure") == [("silent", "blue", "")]


def test_only_specs_of_watched_signals_are_at_work(glasshouse):
    live = banded(glasshouse, "feedline.pressure")

    assert live.banding.signals == {"feedline.pressure"}
    assert bands(live, "cistern.level") == []


# --- looked at --------------------------------------------------------------------------------------


def test_somebody_looks_once_a_period_and_missed_looks_are_not_made_up_for():
    looks = []
    attended = Attended(watch(), PERIOD, Instant(0), looks.append)
    attended.tick(Instant(PERIOD))
    attended.tick(Instant(4 * PERIOD + 7))
    attended.tick(Instant(4 * PERIOD + 8))

    assert looks == [PERIOD, 4 * PERIOD + 7]
    assert attended.next_wakeup() == 5 * PERIOD


def test_an_attended_engine_obeys_the_laws():
    looks = []
    obey(
        lambda: Attended(watch(length=Duration(5 * PERIOD)), PERIOD, Instant(0), looks.append),
        [(100, reading(PRESSURE, 2.0, 100))],
        7 * PERIOD,
        lambda one: one.done,
    )

    assert set(looks) == {n * PERIOD for n in range(1, 6)}
