"""How long the shared segment may take to carry a change from the input to an indicator."""

from hil.alarms.spec import Spec
from hil.core.instant import Duration
from hil.wire.rack import Rack


def longest_carry(spec: Spec, rack: Rack) -> Duration | None:
    """Return the longest time on the segment over all indicators of a spec.

    Declared traffic carries the change from node to node.  None where the bench file describes no
    segment, declares no way, or nothing bounds the time.
    """
    if rack.bus is None:
        return None
    from hil.bus.budget import budget
    from hil.bus.way import route

    segment = rack.bus.segment
    worst = {path.traffic.name: path.worst for path in budget(segment).paths}
    begin = spec.signal.partition(".")[0]
    nodes = {path.partition(".")[0] for one in spec.indicators for path in one.signals}
    longest: Duration | None = None
    for node in sorted(nodes):
        names = route(segment, begin, node)
        parts = [worst.get(name) for name in names or ()]
        known = [part for part in parts if part is not None]
        if names is None or len(known) < len(parts):
            continue
        taken = segment.lasting(sum(known))
        longest = taken if longest is None or taken > longest else longest
    return longest
