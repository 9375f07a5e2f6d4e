"""Whatever arrives, a run ends, ends safe or says so, and counts every case once."""

from core.paper import OVER_RED, at, case, deaf, ms, obedient, play, sample
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.core.event import CaseEnded, RunEnded
from hil.core.instant import Instant
from hil.core.observation import Abort, HostNote, HostTrouble, NodeNote, NodeTrouble, Samples

instants = st.integers(0, 400).map(lambda count: at(count))
values = st.sampled_from(["red", "green", "off", "stale", None])
notes = st.one_of(
    st.tuples(instants, values).map(
        lambda given: (
            given[0],
            Samples("beacon", [sample(given[0] / 1e6, given[1], "beacon.lamp")]),
        )
    ),
    st.tuples(instants, st.sampled_from(NodeTrouble)).map(
        lambda given: (
            given[0],
            NodeNote(node="beacon", trouble=given[1], at=Instant(given[0]), text="odd"),
        )
    ),
    st.tuples(instants, st.sampled_from(HostTrouble)).map(
        lambda given: (
            given[0],
            HostNote(trouble=given[1], at=Instant(given[0]), amount=1, text="host"),
        )
    ),
    instants.map(lambda when: (when, Abort(reason="stop", at=Instant(when), patience=ms(50)))),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(notes, max_size=12), st.sampled_from([obedient, deaf]), st.integers(0, 2))
def test_every_run_ends_and_counts_every_case_once(things, answer, retries):
    cases = [case(OVER_RED, title=f"case {i}") for i in range(3)]
    machine, events = play(cases, answer, sorted(things, key=lambda t: t[0]), retries=retries)

    assert machine.done
    assert sum(machine.counts.values()) == len(cases)
    assert isinstance(events[-1], RunEnded)
    assert machine.safe or answer is deaf or machine.aborted
    ended = {event.case for event in events if isinstance(event, CaseEnded)}
    assert len(ended) == len(cases) - machine.counts["not run"]
