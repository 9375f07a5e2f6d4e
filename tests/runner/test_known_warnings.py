"""Marks that are about nothing are told; those of plans that were not read are not."""

import pytest
from history.nights import mark

from hil.core.error import Mark
from hil.core.plan import Case, Plan
from hil.runner.known import unmatched

CASE = Case(
    plan="Louvres",
    title="a vane turns",
    variation=(),
    requirements=(),
    tags=(),
    precondition=(),
    steps=(),
    restore=True,
    reboots=(),
    skip="",
    mark=Mark("p.yaml", 3, 5),
)
PLAN = Plan(title="Louvres", file="p.yaml", digest="", cases=(CASE,))


@pytest.mark.parametrize(
    ("case", "plan", "count"),
    [("a vane turns", "Louvres", 0), ("a vane turn", "Louvres", 1), ("anything", "Lamps", 0)],
)
def test_only_a_mark_of_a_plan_that_was_read_is_missed(case, plan, count):
    assert len(unmatched([mark(case=case, plan=plan)], [PLAN])) == count


def test_a_slip_is_told_with_what_was_meant():
    (found,) = unmatched([mark(case="a vane turn")], [PLAN])

    assert found.warning
    assert str(found).startswith("known.yaml:3:5: warning: known fault K-17: `Louvres` has no case")
    assert found.hint == "a vane turns"
