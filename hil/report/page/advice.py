"""What to do next, for the one who stands before the rack: one entry for each node in trouble.

The bench comes first where it could not judge, and what is not safe before everything else.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hil.core.count import counted
from hil.core.verdict import Outcome
from hil.report.about import About
from hil.report.journal import INCOMPLETE
from hil.report.page.again import again
from hil.report.page.gathering import Gathering
from hil.report.result import CaseResult, RunResult
from hil.report.story import BENCH, SOME_NODE, in_trouble

GRAVE = (Outcome.FAIL, Outcome.ERROR, Outcome.INCONCLUSIVE, Outcome.UNSTABLE)

OF_NODES = {
    "absent": "See whether it has power and whether its plug sits; then run again.",
    "port closed": "Its computer is there, but nothing listens at its port: restart its firmware.",
    "identity": "Another device sits at its address: compare the label with the bench file.",
    "answer from another address": "Two addresses answer for it: look for a second device.",
    "garbled": "What it sends does not fit its layouts: compare firmware and bench file.",
    "request refused": "It refused a request: look at its mode and at what was asked for.",
    "duplicate": "Its datagrams come twice: look at what stands between it and the bench.",
    "subscription": "It does not tell its changes: see whether it can, and whether it restarts.",
    "stray": "Its datagrams come late or at the wrong time: look at its start-up and at the line.",
    "lost": "Readings of it got lost: look at cable, connectors and load of the segment.",
    "reboot": "It restarted when nobody asked it to: look at its supply, then at its console.",
}
"""What to do about what was odd; the rest of a sentence that begins with the node's name."""

_HEARD = ("port closed", "garbled", "answer from another address")
"""Who is heard with one of these has power, and its plug sits."""

OF_HOST = {
    "host late": "The bench computer was late: end other work on it, then run again.",
    "host dropped": "The bench computer dropped datagrams: end other work on it, then run again.",
    "wall clock stepped": "The bench computer's clock was set during the run: leave it alone.",
    "bench broke": "Look at the interface and its cable, then run again.",
    "tool broke": "This is a bug of the tool: keep this folder and tell its makers.",
    INCOMPLETE: "The disk had no room: make some, then run again; evidence is missing here.",
    "bus": "Look at cable, terminations and supply of the segment.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One entry: who, how it stands (verdicts with counts), why, what to do, what to type.

    `case` is the index of the case to look at first, None where there is none.
    """

    who: str
    counts: tuple[tuple[Outcome, int], ...]
    why: str
    steps: tuple[str, ...]
    command: str = ""
    case: int | None = None


def advise(result: RunResult, gathering: Gathering, about: About | None) -> list[Advice]:
    """Return what to do, most urgent first; nothing where the rack is ready."""
    entries = [*_safety(result), *_ended(result), *_host(result)]
    entries += sorted(_nodes(result, gathering, about), key=_weight)
    return entries


def _safety(result: RunResult) -> Iterator[Advice]:
    left = [one for one in result.actuators if not one.confirmed and one.actuator]
    moved = any(case.attempts for case in result.cases)
    if left:
        named = ", ".join(one.signal for one in left)
        why = f"Not seen at its safe value: {named}."
    elif moved and not result.safe and not result.actuators:
        why = "Nobody saw where the actuators are."
    else:
        return
    step = "Keep hands off and see to the rack before anything else."
    yield Advice(who="NOT SAFE", counts=(), why=why, steps=(step,))


def _ended(result: RunResult) -> Iterator[Advice]:
    missing = sum(case.outcome is Outcome.NOT_RUN for case in result.cases)
    aside = f" {counted(missing, 'case')} did not run." if missing else ""
    if result.ended is None:
        why = f"The journal has no end: the run was killed.{aside}"
    elif result.ended.aborted:
        why = f"{_sentence(result.ended.aborted)}{aside}"
    else:
        return
    step = "Run again; what was judged until then is below."
    yield Advice(who="the run", counts=(), why=why, steps=(step,))


def _host(result: RunResult) -> Iterator[Advice]:
    kinds = dict.fromkeys(note.trouble for note in result.host_notes)
    steps = [OF_HOST[kind] for kind in kinds if kind in OF_HOST]
    if steps:
        first = next(note for note in result.host_notes if note.trouble in OF_HOST)
        more = len(result.host_notes) - 1
        why = _sentence(first.text) + (f" And {more} more." if more else "")
        yield Advice(who=BENCH, counts=(), why=why, steps=tuple(steps))


def _nodes(result: RunResult, gathering: Gathering, about: About | None) -> Iterator[Advice]:
    blamed = _blamed(result)
    troubled = {node for node, kind in gathering.troubles if kind in ("absent", "identity")}
    for name in [*blamed, *sorted(troubled - blamed.keys())]:
        cases = blamed.get(name, [])
        counts = Counter(case.outcome for case in cases)
        worst = min(cases, key=lambda case: GRAVE.index(case.outcome), default=None)
        yield Advice(
            who=name,
            counts=tuple((kind, counts[kind]) for kind in GRAVE if counts[kind]),
            why=_sentence(_why(name, worst, result)),
            steps=tuple(_steps(name, cases, gathering)),
            command="" if worst is None else again(worst, result, about),
            case=None if worst is None else worst.index,
        )


def _blamed(result: RunResult) -> dict[str, list[CaseResult]]:
    blamed: dict[str, list[CaseResult]] = {}
    for case in result.cases:
        if case.outcome in GRAVE:
            for name in in_trouble(case):
                blamed.setdefault(name, []).append(case)
    return blamed


def _why(name: str, case: CaseResult | None, result: RunResult) -> str:
    if case is not None:
        about_it = [reason for reason in case.reasons if f"{name}." in reason]
        return next(iter([*about_it, *case.reasons]), case.outcome.word)
    notes = [note.text for note in result.node_notes if note.node == name]
    return next(iter(notes), "it is not as it must be")


def _steps(name: str, cases: Sequence[CaseResult], gathering: Gathering) -> Iterator[str]:
    restarted = any(f"{name} rebooted" in why for case in cases for why in case.reasons)
    there = any(gathering.troubles[name, kind] for kind in _HEARD)
    for kind, step in OF_NODES.items():
        beside = (kind == "reboot" and not restarted) or (kind == "absent" and there)
        if gathering.troubles[name, kind] and not beside:
            yield step
    if gathering.lost_commands[name]:
        yield "Commands to it were not answered: see whether it is there and not overloaded."
    outcomes = {case.outcome for case in cases}
    if name == SOME_NODE:
        yield "No check says which node it was: read what was told, then repeat the first case alone."
    elif Outcome.FAIL in outcomes:
        yield "Repeat the first case alone; what the node did is shown below."
    elif Outcome.UNSTABLE in outcomes:
        yield "It passed only when tried again: repeat it often (--repeat 20) before you trust it."
    elif Outcome.INCONCLUSIVE in outcomes:
        yield "The bench could not tell: see to the reason, then repeat."
    elif Outcome.ERROR in outcomes:
        yield "The case was not judged to its end: repeat it."


def _weight(entry: Advice) -> tuple[int, int, str]:
    first = GRAVE.index(entry.counts[0][0]) if entry.counts else -1
    return first, -sum(count for _, count in entry.counts), entry.who


def _sentence(text: str) -> str:
    text = text.strip()
    if not text:
        return ""
    return text if text.endswith((".", "!", "?")) else f"{text}."
