"""The simulated segment of a virtual bench, as the bench file describes it."""

from hil.bench.virtual import group_places, tool_addresses
from hil.bus.medium import SegmentMedium
from hil.bus.spoiler import Noise
from hil.core.instant import Instant
from hil.wire.rack import Rack
from hil.wire.segment import TOOL


def segment_medium(rack: Rack, start: Instant) -> SegmentMedium | None:
    """Return the medium of a rack; None where its bench file describes no bus.

    Its chance begins with the seed of the software model.  Raises ValueError for a segment that
    no medium can behave like; a run refuses such a bench file first.
    """
    if rack.bus is None:
        return None
    stations = {node.address: node.name for node in rack.nodes if node.address.port}
    stations |= dict.fromkeys(tool_addresses(rack).values(), TOOL)
    return SegmentMedium(
        rack.bus.segment,
        stations,
        TOOL,
        start=start,
        seed=0 if rack.software is None else rack.software.seed,
        noise=Noise(bit_errors=rack.bus.bit_errors, loss=rack.bus.loss),
        heard=group_places(rack),
    )
