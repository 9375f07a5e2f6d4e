"""The readiness sheet: one page to be printed, read beside the rack, and signed.

per node    who it is, its firmware, what was proven, the result, the worst margin, cautions
at the end  lines for those who set it up, judged it and take it over; nobody is named here
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from hil.core.count import counted
from hil.core.verdict import Outcome, worst
from hil.report import journal
from hil.report.about import About
from hil.report.journal import JournalReader
from hil.report.page.decoding import Decoding
from hil.report.page.front import matrix
from hil.report.page.gathering import Gathering
from hil.report.page.press import press, style_sheet
from hil.report.page.unknown import unknowns
from hil.report.page.write import STYLE
from hil.report.result import RunResult
from hil.report.store import write_whole
from hil.report.story import nodes_of
from hil.report.summary import is_good, judged_again, readiness

NAME = "sheet.html"
ROLES = ("set up by", "judged by", "taken over by")
EXPECTED = frozenset({"reboot"})
"""What a plan may ask of a node, so that it is no caution by itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeLine:
    """One node on the sheet; `wanted` is what the bench file wants of it, where it says so."""

    name: str
    serial: str
    firmware: str
    wanted: str
    plans: tuple[tuple[str, int], ...]
    cases: int
    checks: int
    outcome: Outcome | None
    margin: float | None
    closest: str
    cautions: tuple[str, ...]


def write_sheet(folder: Path, result: RunResult, about: About | None) -> Path:
    """Write the sheet of a run into its folder.  Raises StoreError."""
    gathering = Gathering(lambda dossier, case: None)
    reader = JournalReader(folder / journal.NAME, datagrams=False)
    for event in reader:
        gathering.receive(event)
    gathering.finish()
    content = sheet(result, gathering, about, reader.unreadable)
    write_whole(folder / STYLE, style_sheet())
    write_whole(folder / NAME, content)
    return folder / NAME


def sheet(
    result: RunResult, gathering: Gathering, about: About | None, unreadable: int = 0
) -> bytes:
    """Return the sheet."""
    said = readiness(result)
    word, _, why = said.partition(": ")
    page = press().get_template("sheet.html")
    return page.render(
        result=result,
        about=about,
        word=word,
        good=is_good(said),
        again=judged_again(result),
        why=why,
        lines=node_lines(result, gathering),
        counts=result.counts(),
        unknowns=unknowns(result, gathering, unreadable),
        roles=ROLES,
    ).encode("utf-8", "backslashreplace")


def node_lines(result: RunResult, gathering: Gathering) -> list[NodeLine]:
    """Return a line for each node that the journal knows, by name."""
    decoding = Decoding(gathering.bench)
    names = {node.name for node in result.nodes} | {*gathering.identities, *decoding.nodes}
    return [_line(name, result, gathering, decoding) for name in sorted(names)]


def _line(name: str, result: RunResult, gathering: Gathering, decoding: Decoding) -> NodeLine:
    node = next((node for node in result.nodes if node.name == name), None)
    told, known = gathering.identities.get(name), decoding.nodes.get(name)
    cells = {plan: cell for (who, plan), cell in matrix(result, gathering).items() if who == name}
    plans = [(plan.title, cells[plan.file].total) for plan in result.plans if plan.file in cells]
    required = () if known is None else (known.identity.serial, known.identity.firmware)
    return NodeLine(
        name=name,
        serial=told.serial if told is not None else "",
        firmware=told.firmware if told is not None else "",
        wanted=", ".join(part for part in required if part),
        plans=tuple(plans),
        cases=len(gathering.cases_of.get(name, ())),
        checks=node.counts.total() if node is not None else 0,
        outcome=worst([cell.outcome for cell in cells.values()]) if cells else None,
        margin=None if node is None else node.margin,
        closest="" if node is None else node.closest,
        cautions=tuple(_cautions(name, result, gathering)),
    )


def _cautions(name: str, result: RunResult, gathering: Gathering) -> Iterator[str]:
    cases = Counter(
        case.outcome
        for case in result.cases
        if case.outcome not in (Outcome.PASS, Outcome.SKIPPED) and name in nodes_of(case)
    )
    for outcome, count in cases.items():
        yield f"{counted(count, 'case')}: {outcome.word}"
    for (node, trouble), count in sorted(gathering.troubles.items()):
        if node == name and trouble not in EXPECTED:
            yield f"{trouble}, {'once' if count == 1 else f'{count} times'}"
    if name in gathering.identities and gathering.identities[name].changed:
        yield "another serial or firmware in the middle of the run"
    if gathering.lost_commands[name]:
        yield f"{counted(gathering.lost_commands[name], 'command')} not answered"
    left = [
        one.signal
        for one in result.actuators
        if not one.confirmed and one.actuator and one.signal.startswith(f"{name}.")
    ]
    if left:
        yield f"not seen safe: {', '.join(left)}"
