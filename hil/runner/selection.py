"""Which cases run, and in which order.

Selecting nothing is an error, never a success, and each way to select nothing has a sentence of
its own: no plan files, no case that fits the filters, every case skipped.
"""

import difflib
import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hil.core.count import counted
from hil.core.error import DescriptionError, Mark, Mistake
from hil.core.event import KnownFault
from hil.core.plan import Case, Expectation, Plan
from hil.runner.options import Options
from hil.wire.rack import Rack

SHORTEST_HINT = 4
"""Words of fewer letters (`at`, `the`) are in too many titles to be what somebody looks for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Selection:
    """The cases in the order of the run, each with its plan's file, and the plans they are of.

    `warnings` are what is odd about the files they were read from, `remark` what else is to be
    said of them.
    """

    cases: tuple[Case, ...]
    files: tuple[str, ...]
    plans: tuple[Plan, ...]
    warnings: tuple[Mistake, ...] = ()
    known: tuple[KnownFault, ...] = ()
    remark: str = ""


def plan_files(places: Sequence[str]) -> list[str]:
    """Return the plan files that files and folders stand for, those of a folder by name.

    Raises DescriptionError for a folder without any, or that is not there.
    """
    files: list[str] = []
    mistakes: list[Mistake] = []
    for place in places:
        folder = Path(place)
        if not folder.suffix and not folder.exists():
            what = "no such folder is here"
            mistakes.append(Mistake(Mark(place), what, "name the plan files, or a folder of them"))
            continue
        if not folder.is_dir():
            files.append(place)
            continue
        found = [path for kind in ("yaml", "yml") for path in folder.rglob(f"*.{kind}")]
        if not found:
            mistakes.append(Mistake(Mark(place), "no plan file (*.yaml) is in this folder"))
        files += sorted(str(path) for path in found)
    if mistakes:
        raise DescriptionError(mistakes)
    return list(dict.fromkeys(files))


def select(plans: Sequence[Plan], options: Options) -> Selection:
    """Choose, repeat and order cases.  Raises DescriptionError when nothing would run."""
    chosen = [(plan, case) for plan in plans for case in plan.cases if _fits(plan, case, options)]
    if not chosen:
        raise DescriptionError([_nothing_fits(plans, options)])
    if all(case.skip for _, case in chosen):
        raise DescriptionError([_all_skipped([case for _, case in chosen])])
    chosen = [
        (plan, _numbered(case, turn, options.repeat))
        for turn in range(1, options.repeat + 1)
        for plan, case in chosen
    ]
    if options.shuffle is not None:
        seed = options.shuffle
        chosen.sort(key=lambda pair: _lot(seed, pair[0].file, pair[1].title))
    used = {plan.file for plan, _ in chosen}
    return Selection(
        cases=tuple(case for _, case in chosen),
        files=tuple(plan.file for plan, _ in chosen),
        plans=tuple(plan for plan in plans if plan.file in used),
    )


def nodes_used(rack: Rack, cases: Iterable[Case]) -> tuple[str, ...]:
    """Return the nodes whose signals the cases drive or watch, in the order of the rack."""
    signals = rack.signals()
    used = {signals[path].node for case in cases for path in signals_used(case)}
    return tuple(node.name for node in rack.nodes if node.name in used)


def signals_used(case: Case) -> Iterator[str]:
    """Yield every signal of a case, as often as it is named."""
    for expectation in expectations(case):
        yield from expectation.signals
    for step in case.steps:
        for stimulus in step.stimuli:
            yield stimulus.signal
        if step.job is not None:
            yield from step.job.drives
            yield from step.job.watches


def expectations(case: Case) -> Iterator[Expectation]:
    """Yield the precondition's expectations, then those of the steps."""
    yield from case.precondition
    for step in case.steps:
        yield from step.expectations


def _fits(plan: Plan, case: Case, options: Options) -> bool:
    if options.tags and not set(options.tags) & set(case.tags):
        return False
    wanted = options.only.casefold()
    return wanted in case.title.casefold() or wanted in plan.title.casefold()


def _numbered(case: Case, turn: int, of: int) -> Case:
    return case if of == 1 else replace(case, title=f"{case.title} ({turn})")


def _lot(seed: int, file: str, title: str) -> bytes:
    """Draw a case's place: the same for a seed on every computer, whatever the other cases."""
    return hashlib.sha256(f"{seed}\0{file}\0{title}".encode("utf-8", "surrogatepass")).digest()


def _nothing_fits(plans: Sequence[Plan], options: Options) -> Mistake:
    cases = [case for plan in plans for case in plan.cases]
    if not cases:
        return Mistake(Mark(", ".join(options.plans)), "the plans have no cases")
    if options.only:
        what = f"no case or plan has {options.only!r} in its title"
        titles = [plan.title for plan in plans] + [case.title for case in cases]
        near = _nearest(options.only, titles)
        if options.tags:
            what += f" and bears the tag {' or '.join(options.tags)}"
        return Mistake(Mark("--only"), f"{what}, of {counted(len(cases), 'case')}", near)
    tags = sorted({tag for case in cases for tag in case.tags})
    what = f"no case bears the tag {' or '.join(options.tags)}, of {counted(len(cases), 'case')}"
    return Mistake(Mark("--tag"), what, ", ".join(tags) or "no tag at all: none is given")


def _nearest(text: str, titles: Sequence[str]) -> str:
    """Suggest what was meant: words that are nearly the same, else titles that are."""
    words = {word.strip(".,:;()[]").casefold() for title in titles for word in title.split()}
    telling = sorted(word for word in words if len(word) >= SHORTEST_HINT)
    near = difflib.get_close_matches(text.casefold(), telling, n=3, cutoff=0.6)
    if not near:
        folded = {title.casefold(): title for title in titles}
        found = difflib.get_close_matches(text.casefold(), sorted(folded), n=3, cutoff=0.4)
        near = [folded[title] for title in found]
    return " or ".join(f"--only '{word}'" for word in near)


def _all_skipped(cases: Sequence[Case]) -> Mistake:
    reasons = "; ".join(dict.fromkeys(case.skip for case in cases))
    which = (
        "the only selected case is" if len(cases) == 1 else f"all {len(cases)} selected cases are"
    )
    what = f"{which} skipped here ({reasons}), so nothing would run"
    return Mistake(cases[0].mark, what)
