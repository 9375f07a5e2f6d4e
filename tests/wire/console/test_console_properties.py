"""Whatever a console says, in whatever pieces: nothing raises, and time goes on."""

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st
from wire.console.consoles import BOOT, IDENTIFY, MS, Talk, pump

from hil.core.instant import Duration
from hil.wire.console.description import Question
from hil.wire.console.pattern import read_pattern

WORDS = [
    b"ok\n",
    b"ok 125\r\n",
    b"err no\n",
    b"pump> ",
    b"boot: ok\n",
    b"id serial=X-1 firmware=1\n",
    b"id serial=Y firmware=9\n",
    b"rate=1 valve=open\n",
    b"rate=",
    b"\xff\xfe",
    b"\r",
    b"rate 10\n",
]
chunks = st.lists(st.sampled_from(WORDS) | st.binary(max_size=30), max_size=15)


def node():
    return pump(
        serial="X-1",
        identify=IDENTIFY,
        boot=BOOT,
        prompt=read_pattern("pump> "),
        read=Question(send="s", every=Duration(20 * MS)),
    )


@settings(max_examples=150, deadline=None)
@given(chunks=chunks, gaps=st.lists(st.integers(1, 90), min_size=15, max_size=15))
def test_any_octets_never_raise_and_every_command_comes_to_an_end(chunks, gaps):
    talk = Talk(node())
    ms, tokens = 0, 0
    for chunk, gap in zip(chunks, gaps, strict=False):
        ms += gap
        tokens += 1
        talk.hear(ms, chunk).drive(ms, "pump.rate", 1, token=tokens)
    talk.at(ms + 20_000)

    ended = [
        one.token for one in talk.seen if type(one).__name__ in ("CommandAnswered", "CommandLost")
    ]
    assert sorted(ended) == list(range(1, tokens + 1))


@settings(max_examples=100, deadline=None)
@given(chunks=chunks, data=st.data())
def test_how_the_octets_are_cut_changes_nothing(chunks, data):
    stream = b"".join(chunks)
    places = data.draw(st.lists(st.integers(0, len(stream)), max_size=6).map(sorted))
    ends = [0, *places, len(stream)]
    whole, cut = Talk(node()), Talk(node())
    whole.hear(5, stream)
    for a, b in pairwise(ends):
        cut.hear(5, stream[a:b])

    assert [line for line in whole.lines if line[:1] != ">"] == [
        line for line in cut.lines if line[:1] != ">"
    ]
