"""Reading a plan file into a `Plan`."""

from collections import Counter
from dataclasses import replace

from hil.core.plan import Case, Plan
from hil.files.case_file import read_case
from hil.files.leaf import TITLE
from hil.files.mistake import Page, show
from hil.files.plan_shape import CASES, PLAN, TITLES
from hil.files.scope import Scope
from hil.files.tree import Map, Node, Scalar, Seq


def read_plan_tree(root: Node, page: Page, scope: Scope) -> Plan | None:
    """Return the plan; what is wrong with it stands on the page."""
    fields = PLAN.open(root, page)
    if fields is None:
        return None
    title = TITLE.at(fields, "plan", page)
    if "benches" in fields:
        for entry in TITLES.open(fields["benches"], page):
            TITLE.read(entry, page, "benches")
    found: list[tuple[Case, Node]] = []
    if "cases" in fields:
        for entry in CASES.open(fields["cases"], page):
            cases = read_case(entry, title or "", scope, page)
            found += _number_repeats(cases)
    _check_titles(found, page)
    if title is None:
        return None
    return Plan(
        title=title,
        file=page.file,
        digest=page.digest(),
        cases=tuple(case for case, _ in found),
    )


def benches_of(root: Node) -> tuple[str, ...]:
    """Return the names of the benches that a plan says it is for; nothing where it is for any.

    What is wrong with the list is told by `read_plan_tree`.
    """
    listed = root.pairs.get("benches") if isinstance(root, Map) else None
    entries = listed[1].items if listed is not None and isinstance(listed[1], Seq) else ()
    return tuple(entry.text for entry in entries if isinstance(entry, Scalar))


def _number_repeats(cases: list[tuple[Case, Node]]) -> list[tuple[Case, Node]]:
    """Tell the repeated rows of one `vary` apart: `range [press-1] (1)`, `range [press-1] (2)`."""
    titles = [case.title for case, _ in cases]
    if len(set(titles)) == len(titles):
        return cases
    total, count = Counter(titles), Counter[str]()
    numbered = []
    for case, place in cases:
        if total[case.title] > 1:
            count[case.title] += 1
            case = replace(case, title=f"{case.title} ({count[case.title]})")
        numbered.append((case, place))
    return numbered


def _check_titles(found: list[tuple[Case, Node]], page: Page) -> None:
    first: dict[str, Node] = {}
    for case, place in found:
        other = first.setdefault(case.title, place)
        if other is not place:
            what = f"the title {show(case.title)} is taken, by the case in line {other.line}"
            page.wrong(place, what, "give each case a title of its own")
