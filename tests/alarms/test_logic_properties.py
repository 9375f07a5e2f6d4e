"""The reference logic against an evaluation from the definition, and against the machine laws."""

from decimal import Decimal

from alarms.brute_force import timeline
from alarms.drawing import INPUT, MARK, band, no_reading, reading, spec
from hypothesis import given, settings
from hypothesis import strategies as st
from laws import obey, run

from hil.alarms.indicator import Displayed, Rounding
from hil.alarms.logic import Logic, Restart
from hil.alarms.spec import AfterFault, ClearsAt, Counting, Delay, Latch, StartUp, Width
from hil.core.instant import Duration, Instant

UNTIL = 70
BUTTON = "pendant.acknowledge"

spans = st.integers(0, 9)
ages = st.none() | st.integers(1, 20)


@st.composite
def delays(draw, lengths=spans):
    return Delay(
        length=Duration(draw(lengths)),
        counting=draw(st.sampled_from(Counting)),
        dead_band_counts=draw(st.booleans()),
        forget_after=draw(st.none() | lengths),
        mark=MARK,
    )


def dead_bands(inward: int, trip: int):
    amounts = st.integers(0, 4)
    return st.none() | st.one_of(
        st.builds(
            Width, amount=amounts.map(Decimal), level_clears=st.booleans(), mark=st.just(MARK)
        ),
        st.builds(
            ClearsAt,
            level=amounts.map(lambda amount: Decimal(trip + inward * amount)),
            level_clears=st.booleans(),
            mark=st.just(MARK),
        ),
    )


@st.composite
def specs(draw):
    count = draw(st.integers(2, 5))
    levels = sorted(draw(st.sets(st.integers(2, 18), min_size=count - 1, max_size=count - 1)))
    normal = draw(st.integers(0, count - 1))
    upper_owns = [draw(st.booleans()) for _ in levels]
    bands = []
    for place in range(count):
        low = levels[place - 1] if place else None
        high = levels[place] if place < len(levels) else None
        owns_low = place > 0 and upper_owns[place - 1]
        owns_high = place < len(levels) and not upper_owns[place]
        trip, inward = (low, -1) if place > normal else (high, 1)
        own = {}
        if place != normal:
            own = {
                "dead_band": draw(dead_bands(inward, trip)),
                "on_delay": draw(st.none() | delays()),
                "off_delay": draw(st.none() | delays()),
                "latched": draw(st.booleans()),
            }
        owns = {(1, 1): "both", (1, 0): "low", (0, 1): "high", (0, 0): "none"}
        bands.append(band(f"b{place}", low, high, owns=owns[owns_low, owns_high], **own))
    return spec(
        *bands,
        normal=f"b{normal}",
        low="0",
        high="20",
        displayed_decides=draw(st.booleans()),
        display=Displayed(decimals=0, rounding=Rounding.HALF_EVEN),
        no_reading=no_reading(
            stale_after=draw(ages), silent_after=draw(ages), after=draw(st.sampled_from(AfterFault))
        ),
        start_up=StartUp(colour="off", hold=Duration(draw(spans)), mark=MARK),
        latch=Latch(
            signal=BUTTON,
            label="pressed",
            while_active=draw(st.booleans()),
            survives_restart=draw(st.booleans()),
            mark=MARK,
        ),
    )


values = st.integers(0, 40).map(lambda half: str(Decimal(half) / 2))
inputs = st.one_of(*[values] * 8, st.none(), st.just("stale"), st.just("21"))
events = st.one_of(
    *[inputs.map(lambda value: (INPUT, value))] * 5,
    *[st.sampled_from(["pressed", "released", "released", None]).map(lambda label: (BUTTON, label))]
    * 3,
    st.sampled_from([("", None), (INPUT, "9"), (INPUT, "1")]),
)
traces = st.lists(st.tuples(st.integers(1, 6), events), max_size=25)


def things_of(trace):
    """Turn gaps and events into (instant, thing), one thing at an instant at most."""
    things, at = [], -1
    for gap, (signal, value) in trace:
        at += gap
        if at <= UNTIL:
            things.append((at, reading(value, at, signal) if signal else Restart()))
    return things


@st.composite
def busy(draw):
    """One latched high alarm at 10 with short delays, and a value that crosses it all the time."""
    described = spec(
        band("b0", None, 10, owns="none"),
        band(
            "b1",
            10,
            None,
            dead_band=draw(dead_bands(-1, 10)),
            on_delay=draw(st.none() | delays(st.integers(0, 5))),
            off_delay=draw(st.none() | delays(st.integers(0, 5))),
            latched=True,
        ),
        normal="b0",
        low="0",
        high="20",
        no_reading=no_reading(stale_after=draw(ages), after=draw(st.sampled_from(AfterFault))),
        latch=Latch(
            signal=BUTTON,
            label="pressed",
            while_active=True,
            survives_restart=draw(st.booleans()),
            mark=MARK,
        ),
    )
    values = st.sampled_from([None, "7", "8", "9", "10", "11", "11", "11"])
    pressing = st.sampled_from(["pressed", "released"])
    busy_events = st.one_of(
        *[values.map(lambda value: (INPUT, value))] * 4,
        *[pressing.map(lambda label: (BUTTON, label))] * 3,
        st.sampled_from([("", None), (INPUT, "11"), (INPUT, "7"), (INPUT, "11")]),
    )
    return described, draw(
        st.lists(st.tuples(st.integers(1, 4), busy_events), min_size=15, max_size=35)
    )


def assert_agreement(described, trace):
    things = things_of(trace)
    turns = run(Logic(described, Instant(0)), things, UNTIL)
    shown = {turn.at: turn.state for turn in turns}  # of several at one instant the last

    wanted = timeline(described, things, UNTIL)
    state, got = None, []
    for at in range(UNTIL + 1):
        state = shown.get(at, state)
        got.append((state.look, state.held, state.unacknowledged))

    assert wanted == got


@settings(max_examples=150, deadline=None, derandomize=True)
@given(specs(), traces)
def test_the_logic_agrees_with_an_evaluation_from_the_definition(described, trace):
    assert_agreement(described, trace)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(busy())
def test_the_logic_agrees_around_one_busy_edge(drawn):
    assert_agreement(*drawn)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(specs(), traces)
def test_the_logic_obeys_the_laws_of_machines(described, trace):
    obey(
        lambda: Logic(described, Instant(0)),
        things_of(trace),
        UNTIL + 30,
        lambda machine: (machine.state, machine.next_wakeup()),
    )


@settings(max_examples=60, deadline=None, derandomize=True)
@given(specs(), traces)
def test_without_a_reading_no_band_is_ever_shown(described, trace):
    machine = Logic(described, Instant(0))
    for at, thing in things_of(trace):
        machine.tick(Instant(at - 1))
        machine.receive(thing, Instant(at))
        if isinstance(thing, Restart) or (thing.signal == INPUT and thing.value is None):
            assert machine.state.look in ("fault", "stale", "silent", "start-up")
