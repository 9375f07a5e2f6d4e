"""Gaps and overlaps against asking every count which bands own it."""

from decimal import Decimal

from alarms.drawing import band, pressure, spec
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.alarms.edge import band_of
from hil.alarms.review import review

STEP = Decimal("0.5")
levels = st.integers(0, 40).map(lambda quarter: Decimal(quarter) / 4)
owners = st.sampled_from(["low", "high", "both", "none"])
LINE = pressure(resolution=STEP, noise=Decimal(0), accuracy=None)


@st.composite
def written(draw):
    """Draw bands from low to high whose edges may miss or overlap each other."""
    count = draw(st.integers(1, 4))
    bands = []
    for place in range(count):
        low, high = sorted((draw(levels), draw(levels)))
        open_low = place == 0 and draw(st.booleans())
        open_high = place == count - 1 and draw(st.booleans())
        bands.append(
            band(f"b{place}", None if open_low else low, None if open_high else high,
                 "green", draw(owners))
        )  # fmt: skip
    return spec(*bands, normal="b0")


def owns(one, value):
    low = one.low is None or value > one.low or (one.low_included and value == one.low)
    high = one.high is None or value < one.high or (one.high_included and value == one.high)
    return low and high


@settings(max_examples=200, deadline=None, derandomize=True)
@given(written())
def test_a_count_in_no_band_or_in_two_is_found_and_nothing_else(described):
    counts = [STEP * count for count in range(21)]
    owned = [sum(owns(one, value) for one in described.bands) for value in counts]
    codes = {finding.code for finding in review(described, LINE)}

    assert (0 in owned) is ("AL-101" in codes)
    assert any(number > 1 for number in owned) is ("AL-103" in codes)


@st.composite
def sound(draw):
    """Draw bands that meet at their edges, each edge with one owner."""
    edges = sorted(draw(st.sets(st.integers(1, 39), min_size=1, max_size=4)))
    uppers = [draw(st.booleans()) for _ in edges]  # does the upper band own the edge?
    ends = [None, *(Decimal(quarter) / 4 for quarter in edges), None]
    bands = []
    for place in range(len(edges) + 1):
        low = place > 0 and uppers[place - 1]
        high = place < len(edges) and not uppers[place]
        own = {(True, True): "both", (True, False): "low", (False, True): "high"}
        owner = own.get((low, high), "none")
        bands.append(band(f"b{place}", ends[place], ends[place + 1], "green", owner))
    return spec(*bands, normal=f"b{draw(st.integers(0, len(edges)))}")


@settings(max_examples=100, deadline=None, derandomize=True)
@given(sound(), levels)
def test_bands_that_meet_are_sound_and_each_value_trips_into_its_owner(described, value):
    codes = {finding.code for finding in review(described, LINE)}
    (owner,) = [one.name for one in described.bands if owns(one, value)]

    assert not codes & {"AL-101", "AL-102", "AL-103", "AL-104", "AL-106"}
    assert owner == band_of(described, value)
