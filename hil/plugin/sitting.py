"""The run behind a pytest session: opened at its first case, ended with the session.

Every selected item that needs the rack is one case of the run, in pytest's order.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from hil.core.error import DescriptionError, HilError, Mark
from hil.core.event import CaseEnded
from hil.core.instant import ZERO
from hil.core.plan import Case, Plan, Step
from hil.core.scripted import Scripted
from hil.core.verdict import Outcome
from hil.files.read import read_rack
from hil.files.scope import Scope
from hil.plugin.items import CaseItem
from hil.plugin.rack import Bench
from hil.plugin.trouble import BenchTrouble
from hil.report.exit_code import ExitCode
from hil.report.summary import safety
from hil.runner.conductor import Conductor, RunOver
from hil.runner.options import Options
from hil.runner.run import Finished, run_plans
from hil.runner.selection import Selection
from hil.wire.rack import Rack

if TYPE_CHECKING:
    from _pytest.terminal import TerminalReporter


def open_sitting(config: pytest.Config) -> "Sitting":
    """Read the bench file; raises pytest.UsageError with every mistake in it."""
    try:
        rack = read_rack(config.getoption("hil_bench"))
    except DescriptionError as error:
        raise pytest.UsageError(str(error)) from error
    return Sitting(config, rack)


class Sitting:
    """The rack, and the run of this session; a plugin of its own for the session's hooks."""

    def __init__(self, config: pytest.Config, rack: Rack) -> None:
        self._config, self.rack = config, rack
        self.scope = Scope(rack)
        self.named = frozenset(
            (config.invocation_params.dir / arg.partition("::")[0]).resolve() for arg in config.args
        )
        """What the command line names by itself."""
        self._places: dict[pytest.Item, int] = {}
        self._failures: dict[pytest.Item, tuple[Outcome, str]] = {}
        self._cases: list[Case] = []
        self._files: list[str] = []
        self._plans: dict[str, Plan] = {}
        self._conductor: Conductor | None = None
        self._remarks: list[str] = []
        self._finished: Finished | None = None
        self._broken = ""

    # --- what pytest says ----------------------------------------------------------------------

    @pytest.hookimpl(trylast=True)
    def pytest_collection_finish(self, session: pytest.Session) -> None:
        """Learn which cases are selected, and in which order."""
        for item in session.items:
            if isinstance(item, CaseItem):
                self._add(item, item.case, item.plan.file)
                self._plans.setdefault(item.plan.file, item.plan)
            elif "bench" in getattr(item, "fixturenames", ()):
                self._add(item, self._case_of(item), item.location[0])

    def pytest_runtest_makereport(self, item: pytest.Item, call: "pytest.CallInfo[None]") -> None:
        """Note what a Python test found by itself: an assertion is about the node."""
        if item in self._places and call.when == "call" and call.excinfo is not None:
            error = call.excinfo.value
            if not isinstance(error, pytest.skip.Exception):
                wrong = Outcome.FAIL if isinstance(error, AssertionError) else Outcome.ERROR
                what = f"{item.name}: {type(error).__name__}: {error}"
                self._failures[item] = wrong, what.partition("\n")[0]

    @pytest.hookimpl(trylast=True)
    def pytest_sessionfinish(self, session: pytest.Session, exitstatus: int) -> None:
        """End the run; a bench that was left unsafe, or evidence that is lost, is no success."""
        interrupted = exitstatus == pytest.ExitCode.INTERRUPTED
        self._end("ended by pytest, which was interrupted" if interrupted else "")
        finished = self._finished
        wrong = self._broken or (
            finished is not None and finished.code > ExitCode.NODE and exitstatus == 0
        )
        if wrong and exitstatus == pytest.ExitCode.OK:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: "TerminalReporter") -> None:
        """Say what a run says at its end."""
        finished = self._finished
        if finished is None and not self._broken:
            return
        terminalreporter.section(f"rack {self.rack.name}", sep="-")
        for remark in dict.fromkeys(self._remarks):
            terminalreporter.write_line(remark)
        if finished is not None:
            for fault in finished.faults:
                terminalreporter.write_line(fault, red=True)
            for line in safety(finished.result):
                text = "".join(part for part, _ in line)
                terminalreporter.write_line(text, red=text.startswith("NOT SAFE"))
            terminalreporter.write_line(f"evidence: {finished.folder}")
            terminalreporter.write_line(f"as a run of its own: exit code {finished.code}")
        if self._broken:
            terminalreporter.write_line(self._broken, red=True)

    # --- what items ask ------------------------------------------------------------------------

    def run(self, item: CaseItem) -> CaseEnded:
        """Run the case of an item.  Raises BenchTrouble where the run is over already."""
        with self._leading() as conductor:
            return conductor.proceed(self._places[item])

    @contextmanager
    def taking_orders(self, item: pytest.Item) -> Iterator[Bench]:
        """Begin the case of a Python test, and end it when the test is over."""
        with self._leading() as conductor:
            conductor.open(self._places[item])
        bench = Bench(conductor, self.scope)
        yield bench
        if bench.over:
            return
        failure = self._failures.pop(item, None) if bench.passed else None
        with self._leading() as conductor:
            ended = conductor.dismiss(*(() if failure is None else failure))
        if bench.passed and failure is None and ended.outcome != "pass":
            raise BenchTrouble("\n".join([ended.outcome, *ended.reasons]))

    # --- the run -------------------------------------------------------------------------------

    def _add(self, item: pytest.Item, case: Case, file: str) -> None:
        self._places[item] = len(self._cases)
        self._cases.append(case)
        self._files.append(file)

    def _case_of(self, item: pytest.Item) -> Case:
        """Return the case of a Python test: one step, which takes orders."""
        path, line, _ = item.location
        mark = Mark(path, (line or 0) + 1, 1)
        case = Case(
            plan=path,
            title=item.name,
            variation="",
            requirements=(),
            tags=(),
            precondition=(),
            steps=(),
            restore=False,
            reboots=(),
            skip="",
            mark=mark,
        )
        job = Scripted(case=case, watches=tuple(self.rack.signals()), told=self._told)
        step = Step(stimuli=(), expectations=(), wait=ZERO, mark=mark, job=job)
        return replace(case, steps=(step,))

    def _told(self, answer: object) -> None:
        assert self._conductor is not None
        self._conductor.told(answer)  # type: ignore[arg-type]

    @contextmanager
    def _leading(self) -> Iterator[Conductor]:
        """Give the run, begun where it is not yet; Ctrl-C ends it, safely."""
        if self._conductor is None:
            self._begin()
        assert self._conductor is not None
        try:
            yield self._conductor
        except RunOver as over:
            raise BenchTrouble(f"{over}{self._why()}") from None
        except KeyboardInterrupt:
            self._end("ended by SIGINT")
            raise

    def _why(self) -> str:
        """Say why the run is over, once that is known."""
        self._end("")
        ended = None if self._finished is None else self._finished.result.ended
        return f": {ended.aborted}" if ended is not None and ended.aborted else ""

    def _begin(self) -> None:
        option = self._config.getoption
        options = Options(
            bench=option("hil_bench"),
            virtual=option("hil_virtual"),
            served=option("hil_served"),
            reports=option("hil_reports"),
            command=tuple(sys.argv),
        )
        selection = Selection(
            cases=tuple(self._cases), files=tuple(self._files), plans=tuple(self._plans.values())
        )
        conductor = self._conductor = Conductor(virtual=options.virtual)
        conductor.start(
            lambda: run_plans(
                options,
                watch=conductor.hear,
                say=self._remarks.append,
                read=lambda options: (self.rack, selection),
                lead=conductor,
            )
        )

    def _end(self, reason: str) -> None:
        if self._conductor is None or self._finished is not None or self._broken:
            return
        with suppress(KeyboardInterrupt):  # a second one changes nothing: being safe comes first
            try:
                finished = self._conductor.finish(reason)
            except HilError as error:
                self._broken = str(error)
                return
            assert isinstance(finished, Finished)
            self._finished = finished
