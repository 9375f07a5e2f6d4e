"""Plan files as collectors, cases as items.

An item runs its case in the setup, so that what the bench could not judge is an error and no
failure; the call then fails where the node did.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from hil.core.error import DescriptionError
from hil.core.plan import Case, Plan
from hil.files.kind import FileKind, kind_of
from hil.files.read import read_plans_with_warnings
from hil.plugin.trouble import BenchTrouble, CaseFailed
from hil.runner.absence import without_a_person

if TYPE_CHECKING:
    from hil.core.event import CaseEnded
    from hil.plugin.sitting import Sitting

UNATTENDED = "pytest asks nobody"


def plan_file(path: Path, parent: pytest.Collector, sitting: "Sitting") -> pytest.Collector | None:
    """Return the collector of a plan; None for any other file, and for plans of other benches."""
    if kind_of(str(path)) is not FileKind.PLAN:
        return None
    found: PlanFile = PlanFile.from_parent(parent, path=path, sitting=sitting)
    return found


class PlanFile(pytest.File):
    """One plan file."""

    def __init__(self, *, sitting: "Sitting", **more: Any) -> None:
        super().__init__(**more)
        self.sitting = sitting

    def collect(self) -> Iterator[pytest.Item]:
        sitting, name = self.sitting, _as_given(self.path, self.config)
        named = (name,) if self.path in sitting.named else ()
        try:
            plans = read_plans_with_warnings([name], sitting.rack, named, alone=False).plans
        except DescriptionError as error:
            raise self.CollectError(str(error)) from error
        for plan in without_a_person(plans, UNATTENDED):
            for case in plan.cases:
                item = CaseItem.from_parent(self, name=case.title, plan=plan, case=case)
                for tag in case.tags:
                    self.config.addinivalue_line("markers", f"{tag}: a tag of plans")
                    item.add_marker(tag)
                if case.skip:
                    item.add_marker(pytest.mark.skip(reason=case.skip))
                yield item


class CaseItem(pytest.Item):
    """One case."""

    def __init__(self, *, plan: Plan, case: Case, **more: Any) -> None:
        super().__init__(**more)
        self.plan, self.case = plan, case
        self._ended: CaseEnded | None = None

    def setup(self) -> None:
        sitting: Sitting = self.parent.sitting  # type: ignore[union-attr]
        try:
            self._ended = ended = sitting.run(self)
        except BenchTrouble as trouble:
            raise pytest.fail.Exception(str(trouble), pytrace=False) from None
        if ended.outcome not in ("pass", "fail", "unstable", "known"):
            text = "\n".join([f"{ended.outcome}: {self.case.mark}", *ended.reasons])
            pytest.fail(text, pytrace=False)  # in the setup, so an error and no failure

    def runtest(self) -> None:
        assert self._ended is not None
        reasons = "\n".join(self._ended.reasons)
        if self._ended.outcome == "known":
            pytest.xfail(reasons)
        if self._ended.outcome != "pass":
            raise CaseFailed(reasons or self._ended.outcome)

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """Show the reasons alone: where in this file they were raised helps nobody."""
        if isinstance(excinfo.value, CaseFailed):
            return f"{excinfo.value}\n{self.case.mark}"
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, int | None, str]:
        return self.path, self.case.mark.line - 1, f"{self.plan.title}: {self.case.title}"


def _as_given(path: Path, config: pytest.Config) -> str:
    """Return a file as the command line would name it: below where pytest was called."""
    try:
        return str(path.relative_to(config.invocation_params.dir))
    except ValueError:
        return str(path)
