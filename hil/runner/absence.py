"""Cases that need a person, where nobody is there: skipped before anything moves in them."""

from collections.abc import Sequence
from dataclasses import replace

from hil.core.plan import Case, Plan


def asked_of_a_person(case: Case) -> str:
    """Return the first thing that a case asks of a person; nothing where it asks none."""
    asks = [step.ask for step in case.steps if step.ask is not None and not step.ask.by]
    return asks[0].text if asks else ""


def without_a_person(plans: Sequence[Plan], why: str) -> tuple[Plan, ...]:
    """Return the plans with every case that needs a person skipped, with `why` nobody is there."""
    return tuple(
        replace(plan, cases=tuple(_skipped(case, why) for case in plan.cases)) for plan in plans
    )


def _skipped(case: Case, why: str) -> Case:
    asked = asked_of_a_person(case)
    if not asked or case.skip:
        return case
    return replace(case, skip=f"needs a person ({asked}), but {why}")
