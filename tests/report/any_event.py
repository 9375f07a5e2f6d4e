"""Any event that a journal line can carry, with wild contents: for tests that nothing may raise."""

import typing
from dataclasses import fields

from hypothesis import strategies as st

from hil.core.event import KINDS, Event

WORDS = st.sampled_from(
    [
        *("pass", "fail", "inconclusive", "error", "unstable", "skipped", "not run", "odd word"),
        *("feedline", "louvres", "feedline.pressure", "louvres.vane-2.position", ""),
        *("sent", "accepted", "lost", "stimulus", "restore", "in", "out", "within", "hold"),
        *("never", "to", "from", "not before", "between", "one of", "not between", "invalid"),
        *("lost", "reboot", "absent", "identity", "host late", "4.50", "-1e999", "nan", "bar"),
        *("testplans/a.yaml", "<b>\"&'", "\x1b[31m\u202e", "310a0b", "zz", "ended by SIGTERM"),
    ]
)
TEXTS = st.one_of(WORDS, st.text(max_size=12))
WHOLE = st.one_of(
    st.integers(-3, 12), st.integers(0, 10**10), st.integers(-(2**70), 2**70), st.just(10**400)
)
REALS = st.floats(allow_nan=False, allow_infinity=False)


def _values(kind: typing.Any) -> st.SearchStrategy[object]:
    """Return the values that fit the type of a field."""
    if isinstance(kind, typing.NewType):
        kind = kind.__supertype__
    origin, parts = typing.get_origin(kind), typing.get_args(kind)
    if origin is tuple and parts[-1] is Ellipsis:
        return st.lists(_values(parts[0]), max_size=4).map(tuple)
    if origin is tuple:
        return st.tuples(*map(_values, parts))
    if origin is dict:
        return st.dictionaries(_values(parts[0]), _values(parts[1]), max_size=3)
    if parts:
        return st.one_of(*map(_values, parts))
    plain = {str: TEXTS, int: WHOLE, float: REALS, bool: st.booleans()}
    return plain.get(kind, st.none())


def _events(cls: type[Event]) -> st.SearchStrategy[Event]:
    return st.builds(cls, **{field.name: _values(field.type) for field in fields(cls)})


EVENTS = st.one_of(*map(_events, KINDS.values()))
JOURNALS = st.lists(EVENTS, max_size=25)
