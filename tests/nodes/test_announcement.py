"""Readings as a node sends them: stamped anew while nothing changes, and never wrong."""

from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st
from nodes.hand import glasshouse

from hil.nodes.announcement import Announcement
from hil.wire.layout import Codec
from hil.wire.rack import Role

RACK = glasshouse()
CODECS = [
    Codec(layout, node)
    for node in RACK.nodes
    for layout in node.layouts
    if layout.role is Role.READING
]
sendings = st.lists(
    st.tuples(
        st.booleans(),  # does a value change before it
        st.integers(0, 2**17),
        st.integers(0, 2**50),
        st.integers(1, 3),
    ),
    min_size=1,
    max_size=8,
)


@settings(deadline=None)
@given(st.sampled_from(CODECS), sendings)
def test_what_is_announced_is_what_would_be_encoded(codec, sent):
    announcement = Announcement(codec)
    example = codec.decode(codec.layout.examples[0].raw)
    values = {seen.signal.partition(".")[2]: seen.value for seen in example.readings}
    values |= example.plain
    numbers = [name for name, value in values.items() if isinstance(value, Decimal)]
    before = dict(values)
    for changes, sequence, uptime, boots in sent:
        if changes and numbers:
            values[numbers[0]] = None if values[numbers[0]] is not None else before[numbers[0]]
        wanted = _encoded(codec, values, sequence, uptime, boots)
        if wanted is None:
            values.update(before)
            wanted = _encoded(codec, values, sequence, uptime, boots)

        assert wanted == announcement.octets(values, sequence, uptime, boots)


def _encoded(codec, values, sequence, uptime, boots):
    try:
        return codec.encode(values, sequence=sequence, uptime=uptime, boots=boots)
    except ValueError:  # a signal that has no way to say that there is no measurement
        return None
