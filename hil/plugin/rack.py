"""The `bench` fixture: what a plan can say, said from Python.

    def test_over_pressure(bench):
        bench.step(
            stimulus={"feedline.pressure": "4.8 bar"},
            expect=[{"signal": "beacon.lamp", "value": "red", "within": "150 ms"}],
        )
        assert bench.read("beacon.lamp") == "red"

Words, units and rules are those of testplans/README.md, and so are the verdicts: a node that is wrong
fails the test, a bench that could not tell breaks it.
"""

import os
import sys
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import NoReturn

from hil.core.error import DescriptionError, Mark, Mistake
from hil.core.signal import Validity
from hil.core.verdict import Outcome
from hil.files.mistake import nearest, show
from hil.files.python_step import Written, read_python_step
from hil.files.scope import Scope
from hil.plugin.trouble import BenchTrouble, CaseFailed
from hil.runner.conductor import Conductor, RunOver


class Bench:
    """The rack, for one test."""

    def __init__(self, conductor: Conductor, scope: Scope) -> None:
        self._conductor, self._scope = conductor, scope
        self.passed = True
        """Whether every step so far passed."""
        self.over = False
        """Whether the run has ended under the test."""

    def step(
        self,
        *,
        stimulus: Mapping[str, Written] | None = None,
        expect: Sequence[Mapping[str, Written]] = (),
        wait: str = "",
        **more: Written,
    ) -> None:
        """Do one step: any keys of a step in a plan, `stimulus`, `expect` and `wait` among them.

        Raises DescriptionError for what is wrong with it, CaseFailed where the node is wrong, and
        BenchTrouble where the bench could not tell.
        """
        written = {
            "wait": wait,
            "stimulus": stimulus,
            "expect": list(expect),
            **{name.replace("_", "-"): value for name, value in more.items()},
        }
        __tracebackhide__ = True
        self._perform({name: value for name, value in written.items() if value}, _caller())

    def drive(self, signal: str, value: Written) -> None:
        """Drive one signal, and wait until the node has taken it."""
        __tracebackhide__ = True
        self._perform({"stimulus": {signal: value}}, _caller())

    def expect(self, signal: str | Sequence[str], **words: Written) -> None:
        """Expect something of a signal: `value="red", within="150 ms"`, `not_before=...`."""
        entry: dict[str, Written] = {"signal": signal}
        entry |= {name.rstrip("_").replace("_", "-"): value for name, value in words.items()}
        __tracebackhide__ = True
        self._perform({"expect": [entry]}, _caller())

    def wait(self, length: str) -> None:
        """Let time pass on the bench: `200 ms`."""
        __tracebackhide__ = True
        self._perform({"wait": length}, _caller())

    def read(self, signal: str) -> Decimal | str | None:
        """Return the latest value of a signal, a number in its own unit; None without a reading.

        Raises DescriptionError for a signal that the bench does not have.
        """
        __tracebackhide__ = True
        if signal not in self._scope.signals:
            near = nearest(signal, self._scope.signals)
            what = f"there is no signal {show(signal)} on this bench"
            raise DescriptionError([Mistake(_caller(), what, near)])
        try:
            sample = self._conductor.peek(signal)
        except RunOver as over:
            self._end(over)
        return sample.value if sample is not None and sample.validity is Validity.VALID else None

    def _perform(self, written: Mapping[str, Written], place: Mark) -> None:
        __tracebackhide__ = True
        try:
            step = read_python_step(written, self._scope, place)
        except DescriptionError as error:
            raise DescriptionError(error.mistakes) from None  # without the reader's own lines
        try:
            done = self._conductor.perform(step)
        except RunOver as over:
            self._end(over)
        if done.outcome is Outcome.PASS:
            return
        self.passed = False
        told = "\n".join(done.reasons) or done.outcome.word
        if done.outcome is Outcome.FAIL:
            raise CaseFailed(told)
        raise BenchTrouble(f"{done.outcome.word}\n{told}")

    def _end(self, over: RunOver) -> NoReturn:
        self.over, self.passed = True, False
        raise BenchTrouble(str(over)) from None


def _caller() -> Mark:
    """Return the line of the test that called."""
    frame = sys._getframe(2)
    return Mark(os.path.relpath(frame.f_code.co_filename), frame.f_lineno, 1)
