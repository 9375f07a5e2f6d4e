"""The front page: ready or not, what to do, the matrix, every case that did not pass."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hil.core.verdict import Outcome, worst
from hil.report.about import About
from hil.report.journal import INCOMPLETE
from hil.report.page.advice import GRAVE, advise
from hil.report.page.again import again, namesakes
from hil.report.page.decoding import Decoding
from hil.report.page.dossier import Chapter, Dossier
from hil.report.page.evidence import Evidence, Plot, Traffic
from hil.report.page.gathering import Gathering
from hil.report.page.press import press
from hil.report.page.tale import Line, console_of, tales_of
from hil.report.page.unknown import unknowns
from hil.report.result import CaseResult, NodeResult, RunResult
from hil.report.story import brief, under_heading
from hil.report.summary import is_good, judged_again, readiness

REASON = 240
"""The letters of why cases did not run that have room above their names."""

TOLD_IN_FULL = 120
"""So many cases that did not pass are told on the front page; the rest on the pages of plans."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldChapter:
    """One attempt with all its evidence."""

    chapter: Chapter
    reasons: tuple[str, ...]
    plots: tuple[Plot, ...]
    traffic: tuple[Traffic, ...]
    tales: tuple[Line, ...]
    console: tuple[Line, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldCase:
    """One case as the front page tells it; `others` are cases that the command runs as well."""

    case: CaseResult
    chapters: tuple[ToldChapter, ...]
    command: str
    others: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """What became of the checks of one node in one plan."""

    outcome: Outcome
    count: int
    total: int


def chosen(result: RunResult) -> list[CaseResult]:
    """Return the cases that the front page tells in full, the gravest first."""
    wrong = [case for case in result.cases if case.outcome in GRAVE]
    wrong.sort(key=lambda case: (GRAVE.index(case.outcome), case.index))
    return wrong[:TOLD_IN_FULL]


def tell_case(
    case: CaseResult,
    dossier: Dossier,
    decoding: Decoding,
    result: RunResult,
    about: About | None,
) -> ToldCase:
    """Return a case with its evidence."""
    evidence = Evidence(dossier, decoding)
    several = len(dossier.chapters) > 1
    chapters = [
        ToldChapter(
            chapter=chapter,
            reasons=_reasons(case, chapter, several),
            plots=tuple(evidence.plots(chapter)),
            traffic=tuple(evidence.traffic(chapter)),
            tales=tuple(tales_of(chapter)),
            console=tuple(console_of(chapter)),
        )
        for chapter in dossier.chapters
    ]
    return ToldCase(
        case=case,
        chapters=tuple(chapters),
        command=again(case, result, about),
        others=namesakes(case, result, about),
    )


def front_page(
    result: RunResult,
    gathering: Gathering,
    told: Sequence[ToldCase],
    names: Mapping[str, str],
    about: About | None,
    unreadable: int,
) -> bytes:
    """Return the front page."""
    said = readiness(result)
    word, _, why = said.partition(": ")
    sections = [(section, section.shown(result)) for section in gathering.sections]
    wrong = sum(case.outcome in GRAVE for case in result.cases)
    page = press().get_template("report.html")
    return page.render(
        result=result,
        about=about,
        word=word,
        good=is_good(said),
        again=judged_again(result),
        why=why,
        advice=advise(result, gathering, about),
        told=told,
        anchors={one.case.index for one in told},
        more=wrong - len(told),
        names=names,
        columns=[node.name for node in result.nodes if node.counts],
        matrix=matrix(result, gathering),
        nodes=[
            (node, gathering.identities.get(node.name)) for node in _all_nodes(result, gathering)
        ],
        skips=_by_reason(result, Outcome.SKIPPED),
        missing=_by_reason(result, Outcome.NOT_RUN),
        known=[case for case in result.cases if case.outcome.word == "known"],
        sections=[(section, shown) for section, shown in sections if shown is not None],
        unknowns=unknowns(result, gathering, unreadable),
        unreadable=unreadable,
        incomplete=INCOMPLETE,
    ).encode("utf-8", "backslashreplace")


def matrix(result: RunResult, gathering: Gathering) -> dict[tuple[str, str], Cell]:
    """Return the cells by node and plan file; only those that have any check."""
    cells = {}
    for key, counts in gathering.matrix.items():
        outcome = worst(list(counts))
        cells[key] = Cell(outcome=outcome, count=counts[outcome], total=counts.total())
    blamed = Counter(
        (name, case.plan)
        for case in result.cases
        for attempt in case.attempts
        for name in attempt.blamed
    )
    for key, count in blamed.items():
        if key not in cells or cells[key].outcome is Outcome.PASS:
            total = cells[key].total if key in cells else 0
            cells[key] = Cell(outcome=Outcome.FAIL, count=count, total=max(total, count))
    return cells


def _all_nodes(result: RunResult, gathering: Gathering) -> list[NodeResult]:
    known = {node.name for node in result.nodes}
    others = [NodeResult(name=name) for name in gathering.identities if name not in known]
    return sorted([*result.nodes, *others], key=lambda node: node.name)


def _by_reason(result: RunResult, outcome: Outcome) -> list[tuple[str, list[CaseResult]]]:
    """Return the cases of a verdict by their reason, each reason once."""
    reasons: dict[str, list[CaseResult]] = {}
    for case in result.cases:
        if case.outcome is outcome:
            why = "; ".join(case.reasons) or "no reason given"
            reasons.setdefault(why, []).append(case)
    return [(brief(why, REASON), cases) for why, cases in reasons.items()]


def _reasons(case: CaseResult, chapter: Chapter, several: bool) -> tuple[str, ...]:
    """Return why an attempt did not pass, each sentence once, without the title of its case."""
    told = chapter.reasons if several or chapter.outcome is not None else case.reasons
    texts = dict.fromkeys([*told, *(check.text for check in chapter.wrong)])
    return tuple(under_heading(case.title, text) for text in texts)
