"""Known faults that are about nothing: a plan was edited, or a title has a slip in it.

Such a mark covers nothing, so it harms nobody: the failure stays a failure.  Somebody has to be
told all the same.
"""

import difflib
from collections.abc import Iterable, Sequence

from hil.core.error import Mark, Mistake
from hil.core.event import KnownFault
from hil.core.plan import Plan


def unmatched(known: Iterable[KnownFault], plans: Sequence[Plan]) -> tuple[Mistake, ...]:
    """Return a warning for each mark whose plan was read and has no such case.

    A mark of a plan that was not read says nothing: only a part of the plans may be asked for.
    """
    titles = {plan.title: [case.title for case in plan.cases] for plan in plans}
    found = []
    for fault in known:
        cases = titles.get(fault.plan)
        if cases is None or fault.case in cases:
            continue
        near = difflib.get_close_matches(fault.case, cases, n=1, cutoff=0.5)
        what = f"known fault {fault.reference}: `{fault.plan}` has no case `{fault.case}`"
        found.append(Mistake(_mark(fault.place), what, near[0] if near else "", warning=True))
    return tuple(found)


def _mark(place: str) -> Mark:
    file, line, column = place.rsplit(":", 2)
    return Mark(file, int(line), int(column))
