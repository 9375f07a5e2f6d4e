"""What a report does not know, said in sentences: a page without doubts is believed too easily."""

from collections import Counter
from collections.abc import Iterator

from hil.core.count import counted
from hil.core.instant import Duration, show_duration
from hil.core.verdict import Outcome
from hil.report.page.gathering import Gathering
from hil.report.result import RunResult
from hil.report.story import nodes_of

GAPS_TOLD = 5


def unknowns(result: RunResult, gathering: Gathering, unreadable: int) -> list[str]:
    """Return what is not known of this run, most important first."""
    return [
        *_missing(result, unreadable),
        *_doubts(result),
        *_bench(result),
        *_losses(gathering),
        *_gaps(gathering),
        *_never_known(result),
    ]


def _missing(result: RunResult, unreadable: int) -> Iterator[str]:
    counts = result.counts()
    if result.started is None:
        yield "the first line of the journal is missing: which cases were to run is not known"
    if result.ended is None:
        yield "the journal has no last line: whether the rack was left safe is not known"
    if unreadable:
        lines = counted(unreadable, "line")
        yield f"{lines} of the journal could not be read (cut short, or of another version)"
    nobody = [case for case in result.cases if case.outcome is Outcome.FAIL and not nodes_of(case)]
    if nobody:
        titles = "; ".join(case.title for case in nobody[:3])
        yield f"{counted(len(nobody), 'case')} failed of which no node is known: {titles}"
    if counts[Outcome.NOT_RUN]:
        yield f"{counted(counts[Outcome.NOT_RUN], 'case')} did not run: of them nothing is known"
    if counts[Outcome.SKIPPED]:
        yield f"{counted(counts[Outcome.SKIPPED], 'case')} skipped: of them nothing is known"


def _doubts(result: RunResult) -> Iterator[str]:
    count = result.counts()[Outcome.INCONCLUSIVE]
    if count:
        yield f"{counted(count, 'case')} inconclusive: that is no pass, and no failure of a node"


def _bench(result: RunResult) -> Iterator[str]:
    kinds = Counter(note.trouble for note in result.host_notes)
    for kind, count in kinds.items():
        first = next(note.text for note in result.host_notes if note.trouble == kind)
        times = "" if count == 1 else f" ({count} times, this was the first)"
        yield f"bench, {kind}: {first}{times}"


def _losses(gathering: Gathering) -> Iterator[str]:
    for node, count in sorted(gathering.lost_commands.items()):
        yield f"{node}: {counted(count, 'command')} without an answer"
    for (node, kind), count in sorted(gathering.troubles.items()):
        if kind in ("lost", "garbled", "duplicate", "stray"):
            yield f"{node}: {kind} datagrams were noted {'once' if count == 1 else f'{count} times'}"


def _gaps(gathering: Gathering) -> Iterator[str]:
    longest = sorted(gathering.gaps.items(), key=lambda item: (-item[1], item[0]))[:GAPS_TOLD]
    told = [f"{signal} {show_duration(Duration(gap))}" for signal, gap in longest if gap > 0]
    if told:
        yield (
            f"between two looks nobody saw a value; the longest such times were {', '.join(told)}"
        )


def _never_known(result: RunResult) -> Iterator[str]:
    if result.started is None:
        return
    if result.started.virtual:
        yield "software models answered, in virtual time: nothing was said about a real rack"
    elif result.started.stamps == "read time":
        yield (
            "arrivals were stamped when the program read them, not by the kernel: answers may "
            "have been faster than they look"
        )
