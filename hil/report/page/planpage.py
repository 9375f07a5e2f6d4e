"""The pages of the plans: every case with every check, in parts that open quickly.

A case is set as soon as it is told, as text; at the end the texts are put into pages.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from hil.report.page.dossier import Dossier
from hil.report.page.press import press
from hil.report.page.tale import tales_of
from hil.report.result import CaseResult, PlanResult, RunResult

CASES_PER_PAGE = 400
ROOM = 15_000_000
"""So many octets the cases of all plan pages may need; of further ones the checks are left out."""

_LONGEST_NAME = 48


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanPage:
    """One page: its file within the folder of pages, and its content."""

    file: str
    content: bytes


class PlanPages:
    """Sets cases one by one, then the pages."""

    def __init__(self, room: int = ROOM) -> None:
        self._texts: dict[int, bytes] = {}
        self._room = room
        self._case = press().get_template("case.html").module
        self.full: frozenset[int] = frozenset()
        """The indices of the cases that the front page tells."""

    def tell(self, dossier: Dossier, case: CaseResult) -> None:
        """Set one case with its checks."""
        chapters = [(chapter, tales_of(chapter)) for chapter in dossier.chapters]
        text = self._set("case", case, chapters)
        if len(text) > self._room:
            text = self._set("cramped", case)
        self._room -= len(text)
        self._texts[case.index] = text

    def pages(self, result: RunResult, names: Mapping[str, str]) -> Iterator[PlanPage]:
        """Yield the pages of all plans; `names` are the files of their first pages."""
        for plan in result.plans:
            yield from self._plan(plan, names[plan.file], result)

    def _plan(self, plan: PlanResult, name: str, result: RunResult) -> Iterator[PlanPage]:
        starts = range(0, len(plan.cases), CASES_PER_PAGE)
        files = [part_name(name, at) for at in range(len(starts))]
        template = press().get_template("plan.html")
        for at, start in enumerate(starts):
            cases = plan.cases[start : start + CASES_PER_PAGE]
            texts = (self._text(case).decode("utf-8") for case in cases)
            page = template.render(plan=plan, result=result, texts=texts, part=at + 1, files=files)
            yield PlanPage(file=files[at], content=page.encode("utf-8", "backslashreplace"))

    def _text(self, case: CaseResult) -> bytes:
        if case.index in self.full:
            return self._set("elsewhere", case)
        return self._texts.get(case.index) or self._set("bare", case)

    def _set(self, macro: str, *told: object) -> bytes:
        text: str = getattr(self._case, macro)(*told)
        return text.encode("utf-8", "backslashreplace")


def page_names(result: RunResult) -> dict[str, str]:
    """Return the file of each plan's first page, by the plan's own file."""
    return {
        plan.file: f"plan-{number:02d}-{_slug(plan.title)}.html"
        for number, plan in enumerate(result.plans, 1)
    }


def part_name(name: str, part: int) -> str:
    """Return the file of a part of a plan; the first, 0, has the plan's own name."""
    return name if part == 0 else f"{name.removesuffix('.html')}-{part + 1}.html"


def _slug(title: str) -> str:
    slug = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")
    return slug[:_LONGEST_NAME].rstrip("-") or "plan"
