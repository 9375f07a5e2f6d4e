"""What `hil bus` prints: who takes turns, what the line carries, how long each signal takes."""

from collections import Counter
from collections.abc import Iterator, Sequence
from textwrap import wrap

from hil.bus.deadline import Fit
from hil.bus.demand import largest_frame, share
from hil.bus.findings import Finding, Severity
from hil.bus.plans import Asked
from hil.bus.segment import Participant, Segment
from hil.bus.standing import Standing
from hil.bus.timeline import full_cycle
from hil.bus.way import Way
from hil.core.instant import Duration, show_duration
from hil.report.line import Line, Tone

SIGNALS_WIDTH = 44
SHOWN_DEADLINES = 12
SHOWN_TRAFFIC = 6
_SEVERITY = {Severity.ERROR: Tone.BAD, Severity.WARNING: Tone.DOUBT, Severity.NOTE: Tone.PLAIN}
_FIT = {Fit.IMPOSSIBLE: Tone.BAD, Fit.TIGHT: Tone.DOUBT, Fit.COMFORTABLE: Tone.GOOD}

Cells = tuple[str, ...]


def bus_lines(name: str, standing: Standing, ways: Sequence[Way], plans: int) -> Iterator[Line]:
    """Yield everything, from the segment as a whole to the deadlines of the plans."""
    segment = standing.bus.segment
    yield ((f"{name}: {_headline(segment)}", Tone.STRONG),)
    yield ()
    if segment.takes_turns:
        yield from _table(
            ("turn", "who", "id", "timer", "burst", "sends up to", "its turn", "waits at most"),
            [_participant(standing, each) for each in _in_turn(segment)],
            right=(0, 2, 3, 4, 5, 6, 7),
        )
    else:
        yield from _table(
            ("who", "id", "sends up to"),
            [
                (each.name, _id(each), f"{largest_frame(segment, each.name)} octets")
                for each in segment.participants
            ],
            right=(1, 2),
        )
        yield ()
        yield (("  nobody has a turn of its own: all contend for the line (CSMA/CD)", Tone.DOUBT),)
    yield ()
    yield from _cycle(standing)
    yield from _traffic(segment)
    yield ()
    yield from _table(
        ("node", "signals", "way", "at best", "at worst", "there and back"),
        [row for way in ways for row in _way(way)],
        right=(3, 4, 5),
    )
    yield ()
    yield from _findings(standing.findings)
    if plans:
        yield ()
        yield from _deadlines(standing.asked, plans)


def _headline(segment: Segment) -> str:
    count = len(segment.participants)
    turns = f"PLCA, node count {segment.node_count}" if segment.plca else "no PLCA"
    cable = "" if segment.cable is None else f", {segment.cable.length_mm / 1000:g} m of cable"
    rate = f"{segment.rate / 1_000_000:g} Mbit/s"
    return f"{count} participants share {rate}, {turns}{cable}"


def _in_turn(segment: Segment) -> list[Participant]:
    """Return everybody: those with a turn in that order, then those without."""
    turns = [each for _, each in sorted(segment.turns().items())]
    return turns + [each for each in segment.participants if each not in turns]


def _participant(standing: Standing, who: Participant) -> Cells:
    segment = standing.bus.segment
    turns = {each.name: number for number, each in segment.turns().items()}
    lasts = {row.title.split(" ", 1)[1]: row.length for row in full_cycle(segment)[1:]}
    wait = standing.budget.access[who.name]
    has_turn = who.name in turns
    return (
        str(turns[who.name]) if has_turn else "none",
        who.name,
        _id(who),
        f"{who.to_timer} bt",
        str(who.burst_count),
        f"{largest_frame(segment, who.name)} octets",
        _long(segment, lasts.get(who.name)) if has_turn else "none",
        "no bound" if wait is None else _long(segment, wait),
    )


def _id(who: Participant) -> str:
    return "none" if who.plca_id is None else str(who.plca_id)


def _cycle(standing: Standing) -> Iterator[Line]:
    planned, segment = standing.budget, standing.bus.segment
    if segment.takes_turns:
        rows = (
            ("empty", planned.empty, "nobody sends"),
            ("typical", planned.typical, "the declared traffic, on average"),
            ("full", planned.full, "everybody sends its largest frames"),
            ("longest", planned.longest, "and every frame of a burst as late as it may come"),
            ("utmost", planned.utmost, "every turn with the largest frame there is"),
        )
        yield from _table(
            ("cycle", "lasts", ""),
            [(word, _long(segment, bits), meaning) for word, bits, meaning in rows],
            right=(1,),
        )
    share = float(planned.demand)
    tone = Tone.BAD if share > 1 else Tone.PLAIN
    yield ((f"  the declared traffic takes {100 * share:.1f} % of the line", tone),)


def _traffic(segment: Segment) -> Iterator[Line]:
    """Yield what takes most of the line, under the names that the bench file may change."""
    shares = sorted(
        ((share(segment, each), each) for each in segment.traffic), key=lambda one: -one[0]
    )
    if not shares:
        return
    yield ()
    yield from _table(
        ("traffic", "octets", "every", "answer", "of the line"),
        [
            (
                each.name,
                str(each.payload),
                show_duration(each.interval),
                "" if each.answer is None else str(each.answer),
                f"{100 * float(part):.1f} %",
            )
            for part, each in shares[:SHOWN_TRAFFIC]
        ],
        right=(1, 2, 3, 4),
    )
    if rest := shares[SHOWN_TRAFFIC:]:
        together = float(sum(part for part, _ in rest))
        yield ((f"  and {len(rest)} more, together {100 * together:.1f} %", Tone.QUIET),)


def _way(way: Way) -> Iterator[Cells]:
    prefix = f"{way.node}."
    names = ", ".join(signal.removeprefix(prefix) for signal in way.signals)
    first, *more = wrap(names, SIGNALS_WIDTH, break_long_words=False, break_on_hyphens=False)
    both = "" if way.round_trip is None else _at_most(way.round_trip[1])
    kind = "command" if way.driven else "reading"
    yield (way.node, first, kind, show_duration(way.best), _at_most(way.worst), both)
    for line in more:
        yield ("", line, "", "", "", "")


def _findings(findings: Sequence[Finding]) -> Iterator[Line]:
    if not findings:
        yield (("  nothing is wrong with the segment", Tone.GOOD),)
    for each in findings:
        tone = _SEVERITY[each.severity]
        yield (f"  {each.severity.value}: ", tone), (f"{each.sentence} ({each.code})", Tone.PLAIN)
        yield ((f"      try: {each.remedy}", Tone.QUIET),)


def _deadlines(asked: Sequence[Asked], plans: int) -> Iterator[Line]:
    tally = Counter(each.ruling.fit for each in asked)
    words = f"{_count(len(asked), 'deadline')} in {_count(plans, 'plan')}"
    pieces = [(f"  {words}: ", Tone.PLAIN)]
    for fit in reversed(Fit):
        tone = _FIT[fit] if tally[fit] else Tone.QUIET
        pieces.append((f"{tally[fit]} {fit.value}", tone))
        pieces.append(("" if fit is Fit.IMPOSSIBLE else ", ", Tone.PLAIN))
    yield tuple(pieces)
    bad = [each for each in asked if each.ruling.fit is not Fit.COMFORTABLE]
    for each in bad[:SHOWN_DEADLINES]:
        yield (
            (f"    {each.ruling.fit.value}: ", _FIT[each.ruling.fit]),
            (
                f"{each.mark} {each.signal}, {each.ruling.sentence}",
                Tone.PLAIN,
            ),
        )
    if len(bad) > SHOWN_DEADLINES:
        yield ((f"    and {len(bad) - SHOWN_DEADLINES} more (see hil check)", Tone.QUIET),)
    if asked and not bad:
        closest = max(asked, key=_part_used)
        text = f"{closest.mark} {closest.signal}, {closest.ruling.sentence}"
        yield ((f"    the closest: {text}", Tone.PLAIN),)


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _part_used(asked: Asked) -> float:
    return 0.0 if asked.worst is None else asked.worst / max(1, asked.deadline)


def _at_most(length: Duration | None) -> str:
    return "no bound" if length is None else show_duration(length)


def _long(segment: Segment, bits: int | None) -> str:
    return "none" if bits is None else show_duration(segment.lasting(bits))


def _table(head: Cells, rows: Sequence[Cells], right: tuple[int, ...] = ()) -> Iterator[Line]:
    widths = [max(len(row[place]) for row in (head, *rows)) for place in range(len(head))]

    def line(cells: Cells, tone: Tone) -> Line:
        shown = (
            cell.rjust(width) if place in right else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(cells, widths, strict=True))
        )
        return (("  " + "  ".join(shown).rstrip(), tone),)

    yield line(head, Tone.QUIET)
    for row in rows:
        yield line(row, Tone.PLAIN)
