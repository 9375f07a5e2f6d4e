"""The latest sample of every signal, kept by the datagrams they came in."""

import pytest
from core.paper import sample
from hypothesis import given
from hypothesis import strategies as st

from hil.core.observation import Samples
from hil.core.scene import Latest

KNOWN = {"feedline.pressure": sample(0, "1"), "beacon.lamp": sample(0, "red", "beacon.lamp")}


def together(when, *signals):
    return Samples("feedline", [sample(when, str(when), signal) for signal in signals])


def test_what_was_known_before_counts_until_something_newer_comes():
    latest = Latest(KNOWN)
    latest.take(together(5, "feedline.pressure", "feedline.flow"))

    assert latest["beacon.lamp"] == KNOWN["beacon.lamp"]
    assert latest["feedline.pressure"].at == 5_000_000
    assert sorted(latest) == ["beacon.lamp", "feedline.flow", "feedline.pressure"]
    assert latest.get("feedline.level") is None
    with pytest.raises(KeyError, match=r"feedline\.level"):
        latest["feedline.level"]


@given(
    st.lists(st.lists(st.sampled_from("abcd"), min_size=1, max_size=4), max_size=12),
)
def test_it_agrees_with_a_plain_dictionary(datagrams):
    latest, plain = Latest({}), {}
    for when, names in enumerate(datagrams):
        seen = together(when, *(f"feedline.{name}" for name in names))
        latest.take(seen)
        plain.update({each.signal: each for each in seen.samples})

        assert plain == dict(latest)
        assert len(plain) == len(latest)
