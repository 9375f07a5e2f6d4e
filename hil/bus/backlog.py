"""How long a datagram may wait behind others of its own sender.

Everything a participant sends is handed over at one moment, and again after each interval while
its queue is not empty (the critical instant of response-time analysis: Joseph and Pandya,
"Finding Response Times in a Real-Time System", 1986, from memory).  The first frame waits for
the worst access delay, each further turn takes a longest cycle.

Answers come closer together than the requests they answer by as much as a request may be late;
the bounds are computed again with that lateness until nothing changes (release jitter, as in
holistic analysis: Tindell and Clark 1994, from memory).  The time a node takes to answer is
taken to be the same each time.
"""

from collections.abc import Mapping

from hil.bus.demand import Sent, largest_frame, sent_by
from hil.bus.segment import GAP_BT, Participant, Segment, frames_of, wire_bt

LONGEST_BACKLOG = 10_000  # frames; beyond, the queue is taken never to empty
ROUNDS = 100

Waits = dict[str, int | None]


def worst_waits(segment: Segment, cycle: int, access: Mapping[str, int | None]) -> Waits:
    """Return, for each participant, the longest time from hand-over to last bit in bit times.

    `cycle` is the longest cycle and `access` the worst access delays.  None where nothing bounds
    it: no turn, nothing declared, or a queue that may never empty.
    """
    sent = {each.name: sent_by(segment, each.name) for each in segment.participants}
    late: Waits = {each.name: 0 for each in segment.participants}
    for _ in range(ROUNDS):
        waits: Waits = {
            each.name: _wait(segment, each, cycle, access[each.name], sent[each.name], late)
            for each in segment.participants
        }
        if waits == late:
            return waits
        late = waits
    return dict.fromkeys(waits)


def _wait(
    segment: Segment,
    who: Participant,
    cycle: int,
    access: int | None,
    sent: list[Sent],
    late: Waits,
) -> int | None:
    jitters = [late.get(each.asked_by) if each.asked_by else 0 for each in sent]
    if access is None or not sent or None in jitters:
        return None
    wire = wire_bt(largest_frame(segment, who.name), segment.esd)
    following = max(GAP_BT, who.burst_timer) + wire
    flows = [
        (len(frames_of(each.payload, segment.ip)), each.interval, jitter or 0)
        for each, jitter in zip(sent, jitters, strict=True)
    ]
    count = sum(frames for frames, _, _ in flows)
    while count <= LONGEST_BACKLOG:
        turns, rest = divmod(count - 1, 1 + who.burst_count)
        total = access + turns * cycle + rest * following + wire
        needed = sum(
            frames * -(-(total + jitter) * segment.bit_ns // interval)
            for frames, interval, jitter in flows
        )
        if needed <= count:
            return total
        count = needed
    return None
