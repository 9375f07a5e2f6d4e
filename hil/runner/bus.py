"""The shared segment in a run: what must be right before it."""

from collections.abc import Iterable

from hil.bus.standing import stand
from hil.core.error import DescriptionError
from hil.core.plan import Plan
from hil.wire.rack import Rack


def refuse_wrong_segment(rack: Rack, plans: Iterable[Plan]) -> None:
    """Refuse a segment that cannot work, and deadlines it cannot carry.

    Raises DescriptionError with everything that is wrong, and what is odd beside it.
    """
    standing = stand(rack, plans)
    mistakes = [] if standing is None else standing.mistakes()
    if any(not mistake.warning for mistake in mistakes):
        raise DescriptionError(sorted(mistakes))
