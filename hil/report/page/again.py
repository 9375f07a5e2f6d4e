"""The command that repeats just this case."""

import re
import shlex

from hil.report.about import About
from hil.report.result import CaseResult, RunResult
from hil.report.visible import visible_line

_TURN = re.compile(r" \(\d+\)$")


def again(case: CaseResult, result: RunResult, about: About | None) -> str:
    """Return the command line, to be typed where the run was started."""
    words = ["hil", *_verb(about), case.plan]
    if result.started is not None and result.started.bench_file:
        words += ["--bench", result.started.bench_file]
    if result.started is not None and result.started.virtual:
        words.append("--virtual")
    elif "--served" in _given(about):
        words.append("--served")
    return visible_line(shlex.join([*words, "--only", _title(case.title, about)]))


def namesakes(case: CaseResult, result: RunResult, about: About | None) -> int:
    """Return how many other cases of the plan the command runs as well: `--only` finds a part."""
    text = _title(case.title, about).casefold()
    titles = [other.title for other in result.cases if other.plan == case.plan]
    return sum(text in title.casefold() for title in titles) - 1


def _verb(about: About | None) -> list[str]:
    return ["alarms", "prove"] if _given(about)[1:3] == ("alarms", "prove") else ["run"]


def _title(title: str, about: About | None) -> str:
    """Return a title as the plan has it: without the number that `--repeat` gave it."""
    repeated = any(word.startswith("--repeat") for word in _given(about))
    return _TURN.sub("", title) if repeated and _verb(about) == ["run"] else title


def _given(about: About | None) -> tuple[str, ...]:
    return () if about is None else about.command
