"""What `hil history` prints: runs, a case, a node, what changed."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from hil.core.count import counted
from hil.core.instant import Duration, show_duration
from hil.history.change import Change, Changes, Kind, Slower
from hil.history.passages import Passage, Stability
from hil.history.runs import KeptRun
from hil.report.line import Line, Tone
from hil.report.story import brief, under_heading
from hil.report.visible import visible_line

SHOWN = 20
"""So many cases of one kind are told; the others are counted."""

REMARK, REASON = 90, 240
"""The letters of a remark on a run, and of a reason; the report of the run has all of it."""

ALIKE = 3
"""From so many cases with the same reason on it is told once."""

TONES = {
    "pass": Tone.GOOD,
    "known": Tone.DOUBT,
    "unstable": Tone.DOUBT,
    "inconclusive": Tone.DOUBT,
    "fail": Tone.BAD,
    "error": Tone.BAD,
}
_KIND_TONES = {
    Kind.BROKEN: Tone.BAD,
    Kind.STILL: Tone.BAD,
    Kind.FIXED: Tone.GOOD,
    Kind.KNOWN: Tone.DOUBT,
    Kind.NEW: Tone.PLAIN,
    Kind.GONE: Tone.DOUBT,
    Kind.NEVER: Tone.QUIET,
}
_SIGNS = {"pass": "●", "known": "◐", "skipped": "○", "not run": "○"}
_WRONG = "■"

Cells = Sequence[tuple[str, Tone]]


def table(rows: Sequence[Cells], left: Iterable[int] = (0,)) -> Iterator[Line]:
    """Yield rows in columns two blanks apart; those in `left` to the left, others to the right."""
    to_left = set(left)
    widths = [max(len(row[at][0]) for row in rows) for at in range(len(rows[0]))]
    for row in rows:
        cells = []
        for at, (text, tone) in enumerate(row):
            cell = text.ljust(widths[at]) if at in to_left else text.rjust(widths[at])
            cells.append((cell if at == 0 else f"  {cell}", tone))
        yield tuple(cells)


def heads(*words: str) -> list[tuple[str, Tone]]:
    """Return the cells of a heading."""
    return [(word, Tone.QUIET) for word in words]


def run_lines(runs: Sequence[KeptRun]) -> Iterator[Line]:
    """Yield a table of runs, the newest first."""
    rows: list[Cells] = [
        heads(
            "run", "rack", "began (UTC)", "cases", "pass", "known", "fail", "unclear", "not run", ""
        )
    ]
    for run in runs:
        rows.append(
            [
                (visible_line(run.name), Tone.PLAIN),
                (visible_line(run.rack), Tone.PLAIN),
                (run.when, Tone.QUIET),
                (str(run.cases), Tone.PLAIN),
                _counted(run.passed, Tone.GOOD),
                _counted(run.known, Tone.DOUBT),
                _counted(run.failed, Tone.BAD),
                _counted(run.unclear, Tone.DOUBT),
                _counted(run.left_out, Tone.QUIET),
                (visible_line(remark(run)), Tone.DOUBT),
            ]
        )
    yield from table(rows, left=(0, 1, 2, 9))


def remark(run: KeptRun) -> str:
    """Say what is odd about how a run ended; nothing where all is well."""
    if not run.ended:
        return "killed, or still going on"
    if run.aborted:
        return brief(run.aborted, REMARK)
    return "" if run.safe else "not safe at its end"


def _counted(count: int, tone: Tone) -> tuple[str, Tone]:
    return (str(count), tone) if count else ("–", Tone.QUIET)


def case_lines(
    plan: str,
    title: str,
    passages: Sequence[Passage],
    runs: Mapping[int, KeptRun],
    steady: Stability,
) -> Iterator[Line]:
    """Yield one case's verdicts, night after night: a row of signs, then what went wrong."""
    yield (visible_line(title), Tone.STRONG), (f"  {visible_line(plan)}", Tone.QUIET)
    signs = [(_SIGNS.get(each.outcome, _WRONG), _tone(each.outcome)) for each in passages]
    yield (("    ", Tone.PLAIN), *signs)
    judged = sum(passage.judged for passage in passages)
    good = sum(passage.outcome == "pass" for passage in passages)
    text = f"passed in {good} of {counted(judged, 'run')}"
    if steady.flips:
        text += (
            f", turned round {steady.flips} of {steady.chances} times ({100 * steady.rate:.0f} %)"
        )
    yield ((f"    {text}", Tone.DOUBT if steady.flips > 1 else Tone.PLAIN),)
    wrong = [passage for passage in passages if passage.bad or passage.outcome == "known"]
    for passage in wrong[: -SHOWN - 1 : -1]:
        run = runs[passage.run]
        reason = brief(under_heading(title, passage.reason), REASON)
        yield (
            (f"    {run.when}  ", Tone.QUIET),
            (f"{passage.outcome:<12}  ", _tone(passage.outcome)),
            (visible_line(reason), Tone.PLAIN),
        )
    if len(wrong) > SHOWN:
        yield ((f"    and {len(wrong) - SHOWN} times before", Tone.QUIET),)


def _tone(outcome: str) -> Tone:
    return TONES.get(outcome, Tone.QUIET)


def change_lines(changes: Changes) -> Iterator[Line]:
    """Yield what changed: the headline, each kind with its cases, what may be why."""
    yield ((headline(changes), Tone.STRONG),)
    yield ((visible_line(between(changes)), Tone.QUIET),)
    for note in changes.notes:
        yield ((visible_line(f"also: {note}"), Tone.DOUBT),)
    for kind in Kind:
        found = changes.of(kind)
        if found:
            yield ()
            yield ((f"{kind.value} ({len(found)})", _KIND_TONES[kind]),)
            yield from _changed(found)
    yield from _slower_lines(changes.slower)
    if changes.marks:
        yield ()
        yield (("known faults to see to", Tone.DOUBT),)
        for text in mark_sentences(changes):
            yield ((f"    {visible_line(text)}", Tone.PLAIN),)
    if changes.unsure:
        what = counted(changes.unsure, "response")
        yield ()
        yield ((f"{what}: too few runs before to say whether it is slower", Tone.QUIET),)


def _changed(found: Sequence[Change]) -> Iterator[Line]:
    """Yield the cases of one kind, those with the same reason together."""
    left = SHOWN
    for told, alike in by_reason(found):
        for change in alike[:left]:
            yield (
                (f"    {visible_line(change.title)}", Tone.PLAIN),
                (f"  {visible_line(change.plan)}", Tone.QUIET),
            )
        if told and left > 0:
            all_of_them = f"all {len(alike)}: " if len(alike) > 1 else ""
            yield ((f"        {all_of_them}{visible_line(told)}", Tone.QUIET),)
        left = max(0, left - len(alike))
    if len(found) > SHOWN:
        yield ((f"    and {len(found) - SHOWN} more", Tone.QUIET),)


def by_reason(found: Sequence[Change]) -> list[tuple[str, list[Change]]]:
    """Return cases by what became of them and why, in their order; the same for many is told once."""
    alike: dict[str, list[Change]] = {}
    for change in found:
        alike.setdefault(why(change), []).append(change)
    groups: list[tuple[str, list[Change]]] = []
    for told, changes in alike.items():
        groups += [(told, changes)] if len(changes) >= ALIKE else [(told, [c]) for c in changes]
    return groups


def why(change: Change) -> str:
    """Say what became of a case, and why."""
    told = turned(change)
    reason = under_heading(change.title, change.reason)
    return brief(f"{told}: {reason}" if reason else told, REASON)


def turned(change: Change) -> str:
    """Say what a case was and is, where that is not said by its heading."""
    if change.kind is Kind.STILL and change.since is not None:
        runs = counted(change.runs, "run")
        return f"{change.now}, for {runs}, since {change.since.when}"
    if change.kind in (Kind.GONE, Kind.NEVER, Kind.NEW):
        return change.now
    return f"{change.before or 'never judged'} → {change.now}"


def _slower_lines(slower: Sequence[Slower]) -> Iterator[Line]:
    if not slower:
        return
    yield ()
    yield ((f"slower ({len(slower)})", Tone.DOUBT),)
    for one in slower[:SHOWN]:
        yield (
            (f"    {visible_line(one.title)}, step {one.step}: {one.signal}", Tone.PLAIN),
            (f"  {visible_line(one.plan)}", Tone.QUIET),
        )
        yield ((f"        {slower_sentence(one)}", Tone.QUIET),)
    if len(slower) > SHOWN:
        yield ((f"    and {len(slower) - SHOWN} more", Tone.QUIET),)


def slower_sentence(one: Slower) -> str:
    """Say how much slower a response is, against how many runs."""
    now, usual, slowest = (show_duration(Duration(t)) for t in (one.now, one.usual, one.slowest))
    return f"{now}, usually {usual}, at most {slowest} in {counted(one.runs, 'run')} before"


def mark_sentences(changes: Changes) -> list[str]:
    """Say what somebody has to do about each known fault."""
    told = []
    for mark in changes.marks:
        name = f"{mark.fault} ({mark.reference})"
        if mark.standing.startswith("passing"):
            told.append(f"{name} was not seen, its check passed: mended? take the mark out")
        elif mark.standing.endswith("over"):
            told.append(f"{name} counts no longer: its last day was {mark.until}")
        else:
            told.append(f"{name}: its check failed in another way")
    return told


def headline(changes: Changes) -> str:
    """Say in one line how much changed."""
    parts = [
        f"{len(changes.of(kind))} {kind.value}"
        for kind in (Kind.BROKEN, Kind.STILL, Kind.FIXED, Kind.KNOWN)
        if changes.of(kind)
    ]
    if changes.slower:
        parts.append(f"{len(changes.slower)} slower")
    if changes.marks:
        parts.append(f"{counted(len(changes.marks), 'known fault')} to see to")
    stopped = "run stopped: " if changes.newer.ended and changes.newer.aborted else "run "
    parts += [f"{stopped}{text}" for text in [remark(changes.newer)] if text]
    return f"{changes.newer.rack}: {', '.join(parts) or 'nothing changed'}"


def between(changes: Changes) -> str:
    """Say which runs are held against each other."""
    newer, older = changes.newer, changes.older
    if older is None:
        return f"{newer.name}, the first run of {newer.rack} in this history"
    if older.rack != newer.rack:
        return f"{newer.name} ({newer.rack}) against {older.name} ({older.rack})"
    return f"{newer.name} against {older.name}"
