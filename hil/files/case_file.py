"""One case of a plan: its steps, filled in for every row of its `vary`."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hil.alarms.proof.series import SeriesJob
from hil.core.instant import ZERO, Duration
from hil.core.job import Job
from hil.core.plan import Case, Expectation, Step, Stimulus
from hil.files.ask_text import read_ask
from hil.files.expect_text import read_expect
from hil.files.follow_text import read_follow
from hil.files.leaf import DURATION, FLAG, NAME, TITLE
from hil.files.mistake import Page, nearest, show
from hil.files.operator_file import read_states
from hil.files.plan_shape import (
    CASE,
    EXPECTATIONS,
    NAMES,
    STEP,
    STEPS,
    STIMULI,
    TITLES,
)
from hil.files.prove_text import read_prove
from hil.files.scope import Scope
from hil.files.shape import Leaf, Many
from hil.files.together_text import read_disturb, read_together
from hil.files.tree import Map, Node, Scalar, Unfilled
from hil.files.trials_text import repeat
from hil.files.vary import Row, fill, read_rows

_UNREAD = Duration(1)
"""Stands for a wait that could not be read: there is one, and the plan is refused anyway."""


@dataclass(slots=True)
class StepText:
    """One step, read, with what the check between steps needs to know."""

    step: Step
    place: Node


def read_case(node: Node, plan: str, scope: Scope, page: Page) -> list[tuple[Case, Node]]:
    """Return the cases that one entry of `cases` makes, each with the place of its title."""
    outer = CASE.open(node, page)
    if outer is None or not isinstance(node, Map):
        return []
    rows: Sequence[Row | None] = [{}]
    if "vary" in outer:
        rows = read_rows(outer["vary"], page) or [None]
    elif not page.has_variables:
        return _read_filled(outer, node, {}, plan, scope, page)
    template = Map(node.line, node.column)
    template.pairs = {name: pair for name, pair in node.pairs.items() if name != "vary"}
    used: set[str] = set()
    cases = []
    for row in rows:
        filled = fill(template, row, used, page)
        assert isinstance(filled, Map)
        fields = {name: pair[1] for name, pair in filled.pairs.items() if name in CASE.keys}
        cases += _read_filled(fields, node, row or {}, plan, scope, page)
    for name in rows[0] or ():
        if name not in used:
            what = f"the variable {show(name)} of `vary` is used nowhere in this case"
            page.wrong(outer["vary"], what, f"write ${{{name}}} where it goes, or leave it out")
    return cases


def _read_filled(
    fields: dict[str, Node], node: Node, row: Row, plan: str, scope: Scope, page: Page
) -> list[tuple[Case, Node]]:
    """Return the case of one row, in a list that is empty where it could not be read."""
    title = TITLE.at(fields, "case", page)
    restore = FLAG.read(fields["restore"], page, "restore") if "restore" in fields else True
    skip = TITLE.read(fields["skip"], page, "skip") if "skip" in fields else ""
    steps = _steps(fields, scope, page)
    variation = ", ".join(row.values())
    case = Case(
        plan=plan,
        title=f"{title} [{variation}]" if row else title or "",
        variation=variation,
        requirements=_texts("requirement", fields, TITLE, TITLES, page),
        tags=_texts("tags", fields, NAME, NAMES, page),
        precondition=_precondition(fields, scope, page),
        steps=tuple(step.step for step in steps),
        restore=restore is not False,
        reboots=tuple(
            dict.fromkeys(
                (*_reboots(fields, scope, page), *_told(steps), *_restarted(steps, scope))
            )
        ),
        skip=skip or "",
        mark=page.mark(node),
    )
    asks = [step.place for step in steps if step.step.ask is not None]
    if "trials" in fields and asks:
        page.wrong(asks[0], "a person is not asked over and over: `ask` does not go with `trials`")
    case = repeat(case, fields, [step.place for step in steps], scope, page)
    if steps and not any(_expects(step.place) for step in steps):
        what = "this case expects nothing, so it proves nothing"
        page.wrong(fields.get("case", node), what, "give a step an `expect`")
    _check_rates(steps, scope, page)
    return [] if title is None else [(case, fields["case"])]


def _told(steps: Sequence[StepText]) -> list[str]:
    """Return the nodes that a proof restarts."""
    jobs = [text.step.job for text in steps if isinstance(text.step.job, SeriesJob)]
    return [node for job in jobs for node in job.reboots]


def _restarted(steps: Sequence[StepText], scope: Scope) -> Iterator[str]:
    """Yield the nodes that programs of the bench restart, or take the power from."""
    for step in (text.step for text in steps):
        for path in step.drives:
            drive = scope.signals[path].drive
            if drive is not None and drive.program is not None:
                yield from drive.program.restarts


def _expects(step: Node) -> bool:
    if not isinstance(step, Map):
        return False
    unknown = any(isinstance(key, Unfilled) for key, _ in step.pairs.values())  # it may be one
    ask = step.pairs.get("ask")
    looks = ask is not None and isinstance(ask[1], Map) and "look" in ask[1].pairs
    judges = step.pairs.keys() & {"expect", "together", "prove", "follow"}
    return unknown or looks or bool(judges)


def _steps(fields: dict[str, Node], scope: Scope, page: Page) -> list[StepText]:
    if "steps" not in fields:
        return []
    steps = []
    for entry in STEPS.open(fields["steps"], page):
        step = read_step(entry, scope, page)
        if step is not None:
            steps.append(StepText(step, entry))
    return steps


def read_step(node: Node, scope: Scope, page: Page) -> Step | None:
    """Return one step; what is wrong with it stands on the page."""
    fields = STEP.open(node, page)
    if fields is None:
        return None
    if not fields:
        page.wrong(
            node,
            "a step needs `stimulus`, `expect`, `ask`, `disturb`, `together`, `prove`, `follow` "
            "or `wait`",
        )
    wait: Duration | None = ZERO
    if "wait" in fields:
        wait = DURATION.read(fields["wait"], page, "wait")
    stimuli = []
    if "stimulus" in fields:
        for key, path, value in STIMULI.open(fields["stimulus"], page):
            commanded = scope.command(path, key, value, page)
            if commanded is not None:
                stimuli.append(Stimulus(signal=path, value=commanded, mark=page.mark(key)))
    asked = read_ask(fields, scope, page)
    stimuli += () if asked is None else asked.stimuli
    expectations: tuple[Expectation, ...] = () if asked is None else asked.expectations
    if "expect" in fields:
        entries = EXPECTATIONS.open(fields["expect"], page)
        expectations += read_expect(entries, stimuli, wait or ZERO, scope, page)
    job: Job | None = None
    if "together" in fields:
        job = read_together(fields["together"], scope, page)
    elif "prove" in fields:
        job = read_prove(fields["prove"], scope, page)
    elif "follow" in fields:
        job = read_follow(fields["follow"], scope, page)
    elif "disturb" in fields:
        job = read_disturb(fields["disturb"], scope, page)
    return Step(
        stimuli=tuple(stimuli),
        expectations=expectations,
        wait=_UNREAD if wait is None else wait,
        mark=page.mark(node),
        job=job,
        ask=None if asked is None else asked.ask,
    )


def _precondition(fields: dict[str, Node], scope: Scope, page: Page) -> tuple[Expectation, ...]:
    node = fields.get("precondition")
    if node is None:
        return ()
    return read_states(node, "precondition", scope, page)


def _texts(
    key: str, fields: dict[str, Node], leaf: Leaf[str], many: Many, page: Page
) -> tuple[str, ...]:
    if key not in fields:
        return ()
    node = fields[key]
    entries = [node] if isinstance(node, Scalar) else many.open(node, page)
    found: list[str] = []
    for entry in entries:
        text = leaf.read(entry, page, key)
        if text is None:
            continue
        if text in found:
            page.wrong(entry, f"{key}: {show(text)} stands here twice")
        found.append(text)
    return tuple(found)


def _reboots(fields: dict[str, Node], scope: Scope, page: Page) -> tuple[str, ...]:
    names = _texts("reboots", fields, NAME, NAMES, page)
    for name in names:
        if name not in scope.nodes:
            what = f"reboots: there is no node {show(name)} on this bench"
            page.wrong(fields["reboots"], what, nearest(name, scope.nodes))
    return names


def _check_rates(steps: list[StepText], scope: Scope, page: Page) -> None:
    """Refuse two commands to a rate-limited actuator with nothing between them.

    One that only has to wait is no mistake: the engine sends the second command when the rate
    allows it.  With neither a wait nor an expectation between, the first one does nothing.
    """
    pending: set[str] = set()
    for number, text in enumerate(steps):
        step = text.step
        if step.wait:
            pending.clear()
        for stimulus in step.stimuli:
            drive = scope.signals[stimulus.signal].drive
            if drive is None or drive.rate is None:
                continue
            if stimulus.signal in pending:
                what = f"{stimulus.signal} is commanded again with nothing between"
                place = Scalar("", True, stimulus.mark.line, stimulus.mark.column)
                page.wrong(place, what, "put a `wait` or an `expect` between the two")
            pending.add(stimulus.signal)
        if _expects(steps[number].place):
            pending.clear()
