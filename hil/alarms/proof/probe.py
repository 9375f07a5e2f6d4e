"""One probe: from a known state to one count, and what the node makes of it.

    trip     from normal       does the alarm come?
    reset    from the alarm    does it go?  (a latched one: does it go once acknowledged?)

An alarm that comes is seen at once; that it does not come is known when everything that the spec
allows has passed: delay, agreement, margin.
"""

from hil.alarms.edge import Edge
from hil.alarms.proof.dialogue import Steps
from hil.alarms.proof.moves import Moves
from hil.core.instant import Duration


def trips(moves: Moves, edge: Edge, count: int) -> Steps[bool | None]:
    """Go from normal to a count; say whether the alarm is then shown, None where one can't say."""
    yield from moves.normal()
    yield from moves.impose(count)
    if (yield from moves.shown(edge, moves.stations.after_on(edge))):
        return True
    return moves.stands(edge)


def clears(moves: Moves, edge: Edge, count: int) -> Steps[bool | None]:
    """Go from the alarm to a count; say whether it is then gone, None where one can't say."""
    stations = moves.stations
    yield from moves.standing(edge)
    yield from moves.impose(count)
    patience = stations.after_off(edge)
    if edge.latched:
        yield from moves.wait(patience)
        yield from moves.acknowledge()
        patience = Duration(stations.agreement + stations.slack)
    if (yield from moves.gone(edge, patience)):
        return True
    stands = moves.stands(edge)
    return None if stands is None else not stands
