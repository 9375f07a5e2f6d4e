"""The `prove` of a step: an alarm spec file, and which of its properties.

The file is named relative to the plan.  Its mistakes, and errors of its review, are mistakes of
the plan: nothing moves before all of them are gone.
"""

from pathlib import Path

from hil.alarms.finding import Severity
from hil.alarms.proof.prove import REPEATS, ProofJob, proof_jobs
from hil.alarms.proof.series import SeriesJob
from hil.alarms.proof.station import obstacle
from hil.alarms.review import review
from hil.alarms.spec import Spec
from hil.core.error import Mark, Mistake
from hil.files.alarm_file import read_alarms_tree
from hil.files.leaf import TITLE, WHOLE
from hil.files.mistake import Page, nearest, show
from hil.files.plan_shape import PROVE, TITLES
from hil.files.scope import Scope
from hil.files.text import read_text
from hil.files.tree import Node, Scalar, read_tree

MOST_REPEATS = 1_000


def read_prove(node: Node, scope: Scope, page: Page) -> SeriesJob | None:
    """Return the job; None, with the mistakes noted, where it cannot be read."""
    fields: dict[str, Node] | None = {"alarms": node}
    if not isinstance(node, Scalar):
        fields = PROVE.open(node, page)
    if fields is None or "alarms" not in fields:
        return None
    before = page.count
    repeats = WHOLE.at(fields, "repeat", page)
    if repeats is not None and not 1 <= repeats <= MOST_REPEATS:
        page.wrong(fields["repeat"], f"repeat: expected 1 to {MOST_REPEATS}")
    specs = _specs(fields["alarms"], scope, page)
    if specs is None:
        return None
    for spec in specs:
        why = obstacle(spec, scope.signals)
        if why:
            page.wrong(fields["alarms"], f"{spec.name} cannot be proven here: {why}")
    if page.count > before:
        return None
    jobs = [job for spec in specs for job in proof_jobs(spec, scope.signals, repeats or REPEATS)]
    chosen = _chosen(fields, jobs, page)
    return SeriesJob(jobs=tuple(chosen)) if page.count == before else None


def _chosen(fields: dict[str, Node], jobs: list[ProofJob], page: Page) -> list[ProofJob]:
    """Return the properties whose title has one of the texts of `only` in it."""
    if "only" not in fields:
        return jobs
    node = fields["only"]
    entries = [node] if isinstance(node, Scalar) else TITLES.open(node, page)
    wanted = [(entry, TITLE.read(entry, page, "only")) for entry in entries]
    for entry, text in wanted:
        if text is not None and not any(text.casefold() in job.title.casefold() for job in jobs):
            what = f"only: no property has {show(text)} in its title"
            titles = [job.title for job in jobs]
            page.wrong(entry, what, nearest(text, titles) or "".join(titles[:1]))
    texts = [text.casefold() for _, text in wanted if text is not None]
    chosen = [job for job in jobs if any(text in job.title.casefold() for text in texts)]
    if chosen and all(job.skip for job in chosen):
        what = f"nothing would be proven: {chosen[0].title} is {chosen[0].skip}"
        page.wrong(node, f"only: {what}")
    return chosen


def _specs(node: Node, scope: Scope, page: Page) -> tuple[Spec, ...] | None:
    """Read the alarm spec file, once for each scope; what is wrong in it goes onto the page.

    None where anything is, noted just now or for a step before.
    """
    name = TITLE.read(node, page, "alarms")
    if name is None:
        return None
    path = str(Path(page.file).parent / name)
    if path not in scope.known:
        scope.known[path] = _read(path, scope)
    specs, mistakes, strangers = scope.known[path]
    page.strangers |= strangers
    if not specs and not mistakes:
        page.wrong(node, f"{path} has no spec")
    if mistakes and mistakes[0].mark == Mark(path):
        page.wrong(node, f"alarms: {path} {mistakes[0].what}")
    else:
        page.take(mistakes)
    return None if mistakes else tuple(specs)


def _read(path: str, scope: Scope) -> tuple[tuple[Spec, ...], tuple[Mistake, ...], frozenset[str]]:
    """Return the specs, what is wrong with them, and nodes that the bench does not have."""
    try:
        inner = Page(path, Path(path).read_bytes())
    except OSError as error:
        unread = Mistake(Mark(path), f"cannot be read: {error.strerror or error}")
        return (), (unread,), frozenset()
    root = read_tree(inner) if read_text(inner) else None
    specs = read_alarms_tree(root, inner, scope) if root is not None else ()
    errors = [
        Mistake(found.mark, f"{found.code}: {found.why}", found.advice)
        for spec in specs
        for found in review(spec, scope.signals[spec.signal], scope.signals)
        if found.severity is Severity.ERROR
    ]
    return specs, (*inner.mistakes, *errors), frozenset(inner.strangers)
