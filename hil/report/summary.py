"""The result of a run on the terminal: ready or not first, then which node, then the proof.

Everything is said in words; colours only repeat it, and only on a terminal that wants them.
This file makes lines; hil.report.paint puts them on the screen.
"""

from collections import Counter

from hil.core.count import counted
from hil.core.event import ActuatorSafe
from hil.core.event.rack import JUDGED_AGAIN
from hil.core.verdict import Outcome
from hil.report.line import Line, Tone
from hil.report.remarks import note_lines, stop_lines
from hil.report.result import CaseResult, RunResult
from hil.report.story import brief, in_trouble, seconds, told_lines, under_heading
from hil.report.visible import visible_line

CASES_TOLD = 20
"""So many cases are told in full on the terminal; the reports have all of them."""


HEADLINE = 120
"""The letters of why a run was stopped that the headline has room for."""

TONES = {
    Outcome.PASS: Tone.GOOD,
    Outcome.KNOWN: Tone.DOUBT,
    Outcome.UNSTABLE: Tone.DOUBT,
    Outcome.FAIL: Tone.BAD,
    Outcome.INCONCLUSIVE: Tone.DOUBT,
    Outcome.ERROR: Tone.BAD,
    Outcome.SKIPPED: Tone.QUIET,
    Outcome.NOT_RUN: Tone.DOUBT,
}

_TOLD = {
    Outcome.PASS: "passed",
    Outcome.KNOWN: "known",
    Outcome.UNSTABLE: "unstable",
    Outcome.FAIL: "failed",
    Outcome.INCONCLUSIVE: "inconclusive",
    Outcome.ERROR: "error",
    Outcome.SKIPPED: "skipped",
    Outcome.NOT_RUN: "not run",
}
_UNUSABLE = ("garbled", "answer from another address", "stray")
"""What a node that seems to be absent may have been heard with."""
_GRAVE = (Outcome.FAIL, Outcome.ERROR, Outcome.INCONCLUSIVE, Outcome.UNSTABLE)
_COLUMNS = (
    Outcome.PASS,
    Outcome.KNOWN,
    Outcome.FAIL,
    Outcome.UNSTABLE,
    Outcome.INCONCLUSIVE,
    Outcome.ERROR,
    Outcome.SKIPPED,
    Outcome.NOT_RUN,
)


def readiness(result: RunResult) -> str:
    """Say in one sentence whether the rack is ready, and if not, which node is why.

    `READY: 64 of 64 cases passed` or `NOT READY: louvres: 2 failed; 3 not run`.  Of a recording
    that was judged again it says `PASSED` or `NOT PASSED`: the rack may be elsewhere by now.
    """
    text = _readiness(result)
    return text.replace("READY", "PASSED", 1) if judged_again(result) else text


def is_good(readiness_said: str) -> bool:
    """Say whether such a sentence is the good one."""
    return readiness_said.startswith(("READY", "PASSED"))


def judged_again(result: RunResult) -> str:
    """Say what recording this was judged from; nothing where it is a run of its own."""
    told = (note.text for note in result.host_notes if note.trouble == JUDGED_AGAIN)
    return next((f"{text[:1].upper()}{text[1:]}." for text in told), "")


def _readiness(result: RunResult) -> str:
    counts = result.counts()
    total, passed = len(result.cases), counts[Outcome.PASS]
    skipped, known = counts[Outcome.SKIPPED], counts[Outcome.KNOWN]
    aside = f", {counted(known, 'known fault')}" if known else ""
    aside += f", {skipped} skipped" if skipped else ""
    whole = result.ended is not None and not result.ended.aborted
    if passed and passed + known + skipped == total and result.safe and whole:
        return f"READY: {passed} of {counted(total, 'case')} passed{aside}"
    parts = [f"{name}: {_list(count)}" for name, count in _troubles(result)]
    if counts[Outcome.NOT_RUN]:
        parts.append(f"{counts[Outcome.NOT_RUN]} of {total} not run")
    if known and not passed and not parts:
        parts.append(f"{known} of {total} failed as known, none passed")
    elif not passed and not parts:
        parts.append(f"nothing ran, {skipped} of {total} skipped" if total else "nothing ran")
    if not result.safe and _moved(result):
        parts.append(_unsafe(result))
    if result.ended is None:
        parts.append("the run was killed")
    elif result.ended.aborted:
        parts.append(brief(visible_line(_silent(result) or result.ended.aborted), HEADLINE))
    return f"NOT READY: {'; '.join(parts)}"


def _silent(result: RunResult) -> str:
    """Name the nodes that were not there at the beginning; nothing where all were."""
    notes = result.node_notes
    absent = {note.node for note in notes if note.trouble == "absent"}
    heard = {note.node for note in notes if note.trouble in _UNUSABLE} & absent
    parts = [
        f"{what} {', '.join(sorted(who))}"
        for what, who in (("no word from", absent - heard), ("nothing to be used from", heard))
        if who
    ]
    return "; ".join(parts)


def summarise(result: RunResult) -> list[Line]:
    """Return the whole summary: readiness, what went wrong, per plan, per node, safety."""
    ready = readiness(result)
    lines: list[Line] = [((ready, Tone.GOOD if is_good(ready) else Tone.BAD),), ()]
    stopped = "" if result.ended is None else visible_line(result.ended.aborted)
    lines += [*stop_lines(result), ()] if stopped and stopped not in ready else []
    lines += _told_cases(result)
    lines += _told_known(result)
    lines += _told_skips(result)
    if result.cases:
        lines += [*_plan_table(result), ()]
    if any(node.counts for node in result.nodes):
        lines += [*_node_table(result), ()]
    lines += note_lines(result)
    lines += safety(result)
    return lines


def _troubles(result: RunResult) -> list[tuple[str, Counter[Outcome]]]:
    by_node: dict[str, Counter[Outcome]] = {}
    for case in result.cases:
        if case.outcome in _GRAVE:
            for name in in_trouble(case):
                by_node.setdefault(name, Counter())[case.outcome] += 1
    return sorted(by_node.items(), key=lambda item: (-item[1].total(), item[0]))


def _list(counts: Counter[Outcome]) -> str:
    return ", ".join(f"{counts[kind]} {_TOLD[kind]}" for kind in _GRAVE if counts[kind])


def _told_cases(result: RunResult) -> list[Line]:
    wrong = [case for case in result.cases if case.outcome in _GRAVE]
    wrong.sort(key=lambda case: _GRAVE.index(case.outcome))
    lines: list[Line] = []
    for case in wrong[:CASES_TOLD]:
        lines += [*_told_case(case), ()]
    if len(wrong) > CASES_TOLD:
        more = len(wrong) - CASES_TOLD
        lines += [((f"and {more} more like these; the reports have all of them", Tone.QUIET),), ()]
    return lines


def _told_case(case: CaseResult) -> list[Line]:
    title = visible_line(case.title)
    head: Line = ((f"{_TOLD[case.outcome]:<12}  ", TONES[case.outcome]), (title, Tone.STRONG))
    body: list[Line] = [((f"    {text}", tone),) for text, tone in told_lines(case)]
    return [head, *body]


def _told_known(result: RunResult) -> list[Line]:
    """Tell each known fault once, and what somebody has to do about the marks."""
    lines: list[Line] = []
    for case in result.cases:
        if case.outcome is Outcome.KNOWN:
            head: Line = (("known         ", Tone.DOUBT), (visible_line(case.title), Tone.STRONG))
            told = (under_heading(case.title, why) for why in case.reasons)
            lines += [head, *(((f"    {visible_line(why)}", Tone.PLAIN),) for why in told)]
    remarks = [visible_line(one.remark) for one in result.known if one.remark]
    lines += [(("known fault   ", Tone.DOUBT), (remark, Tone.PLAIN)) for remark in remarks]
    return [*lines, ()] if lines else []


def _told_skips(result: RunResult) -> list[Line]:
    """Say why cases were skipped, each reason once."""
    reasons: dict[str, list[str]] = {}
    for case in result.cases:
        if case.outcome is Outcome.SKIPPED:
            reasons.setdefault("; ".join(case.reasons) or "no reason given", []).append(case.title)
    lines: list[Line] = []
    for reason, titles in reasons.items():
        more = f" and {len(titles) - 1} more" if len(titles) > 1 else ""
        text = visible_line(f"{titles[0]}{more}: {reason}")
        lines.append(((f"{'skipped':<12}  ", TONES[Outcome.SKIPPED]), (text, Tone.PLAIN)))
    return [*lines, ()] if lines else []


def _plan_table(result: RunResult) -> list[Line]:
    used = [kind for kind in _COLUMNS if result.counts()[kind] or kind is Outcome.PASS]
    rows: list[list[tuple[str, Tone]]] = [_heads("plan", "cases", *(kind.word for kind in used))]
    rows[0].append(("seconds", Tone.QUIET))
    for plan in result.plans:
        counts = plan.counts()
        row = [(visible_line(plan.title), Tone.PLAIN), (str(len(plan.cases)), Tone.PLAIN)]
        row += [_count(counts, kind) for kind in used]
        row.append((seconds(sum(case.took for case in plan.cases), 2), Tone.PLAIN))
        rows.append(row)
    return _align(rows)


def _node_table(result: RunResult) -> list[Line]:
    found = sum((node.counts for node in result.nodes), Counter())
    kinds = [kind for kind in _COLUMNS if found[kind] or kind is Outcome.PASS]
    rows = [_heads("node", "checks", *(kind.word for kind in kinds), "worst margin", "where")]
    for node in result.nodes:
        margin = "–" if node.margin is None else f"{node.margin:+.2f}"
        tone = Tone.BAD if node.margin is not None and node.margin < 0 else Tone.PLAIN
        row = [(visible_line(node.name), Tone.PLAIN), (str(node.counts.total()), Tone.PLAIN)]
        row += [_count(node.counts, kind) for kind in kinds]
        row += [(margin, tone), (visible_line(node.closest), Tone.QUIET)]
        rows.append(row)
    return _align(rows, left={0, len(rows[0]) - 1})


def _heads(*words: str) -> list[tuple[str, Tone]]:
    return [(word, Tone.QUIET) for word in words]


def _count(counts: Counter[Outcome], kind: Outcome) -> tuple[str, Tone]:
    return (str(counts[kind]), TONES[kind]) if counts[kind] else ("–", Tone.QUIET)


def _align(rows: list[list[tuple[str, Tone]]], left: set[int] | None = None) -> list[Line]:
    """Set cells in columns two blanks apart; those in `left` to the left, others to the right."""
    left = {0} if left is None else left
    widths = [max(len(row[at][0]) for row in rows) for at in range(len(rows[0]))]
    lines: list[Line] = []
    for row in rows:
        cells = []
        for at, (text, tone) in enumerate(row):
            cell = text.ljust(widths[at]) if at in left else text.rjust(widths[at])
            cells.append((cell if at == 0 else f"  {cell}", tone))
        lines.append(tuple(cells))
    return lines


def _unsafe(result: RunResult) -> str:
    """Say what is not as it must be at the end, for the sentence about readiness."""
    open_ones = [one for one in result.actuators if not one.confirmed]
    if open_ones and not any(one.actuator for one in open_ones):
        return "not every driven signal was seen back"
    return "not every actuator was seen safe"


def safety(result: RunResult) -> list[Line]:
    """Say where the run has left what it drove."""
    if judged_again(result):
        return [(("nothing was driven: a recording was judged", Tone.QUIET),)]
    open_ones = [one for one in result.actuators if not one.confirmed]
    if open_ones:
        return _open_lines(open_ones)
    if result.safe and result.actuators:
        return [((f"safe: {_all_driven(len(result.actuators))} back", Tone.GOOD),)]
    if not _moved(result):
        return [(("nothing was moved", Tone.QUIET),)]
    return [(("NOT SAFE: nobody saw where the actuators are; see to the rack", Tone.BAD),)]


def _all_driven(count: int) -> str:
    return "the one driven signal is" if count == 1 else f"all {count} driven signals are"


def _open_lines(open_ones: list[ActuatorSafe]) -> list[Line]:
    """Name what was not seen at its safe value: actuators first, signals of one cause together."""
    causes: dict[tuple[bool, str], list[str]] = {}
    for one in sorted(open_ones, key=lambda one: not one.actuator):
        causes.setdefault((one.actuator, one.text), []).append(one.signal)
    lines: list[Line] = []
    for (actuator, cause), signals in causes.items():
        head, tone = ("NOT SAFE", Tone.BAD) if actuator else ("NOT BACK", Tone.DOUBT)
        what = "" if actuator else "driven signals, no actuators, "
        why = f" ({cause})" if cause else ""
        text = f"{head}: {what}not seen at their safe value: {', '.join(signals)}{why}"
        lines.append(((visible_line(text), tone),))
    return lines


def _moved(result: RunResult) -> bool:
    return any(case.attempts for case in result.cases) or bool(result.actuators)
