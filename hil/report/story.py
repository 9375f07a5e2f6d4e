"""What happened in a case, in lines for people.

`case_lines` tell it in full, for a report that stands alone.  `told_lines` tell it on a terminal,
under a heading that names the case: each thing once, what passed as a number.
"""

from hil.core.event import CheckDecided
from hil.core.instant import Duration, show_duration
from hil.core.verdict import Outcome
from hil.report.console_tale import TOLD
from hil.report.line import Tone
from hil.report.result import Attempt, CaseResult
from hil.report.visible import visible_line

_BYTES_SHOWN = 64


SOME_NODE, BENCH = "some node", "bench"
"""Who is in trouble where a case names no node: whose fault it is, its verdict says."""


def seconds(nanoseconds: int, places: int) -> str:
    """Render seconds as a plain decimal with a dot, whatever the locale; never negative.

    >>> seconds(14_029_255_000_000, 6), seconds(100, 6), seconds(-1, 3)
    ('14029.255000', '0.000000', '0.000')
    """
    unit = 10 ** (9 - places)
    count = (max(0, nanoseconds) + unit // 2) // unit
    return f"{count // 10**places}.{count % 10**places:0{places}d}"


def brief(text: str, most: int) -> str:
    """Return a text cut at a blank where it has more than `most` letters; what is cut is marked.

    >>> brief("not every node is ready: feedline, cistern, mast", 30)
    'not every node is ready …'
    """
    if len(text) <= most:
        return text
    head = text[: most + 1].rpartition(" ")[0] or text[:most]
    return f"{head.rstrip(' ;,:')} …"


def spaced_hex(shown: str) -> str:
    """Render hex digits as pairs; a long datagram is cut, with its length.

    >>> spaced_hex("310a")
    '31 0a'
    """
    pairs = [shown[at : at + 2] for at in range(0, len(shown), 2)]
    if len(pairs) <= _BYTES_SHOWN:
        return " ".join(pairs)
    return f"{' '.join(pairs[:_BYTES_SHOWN])} … ({len(pairs)} bytes)"


def check_lines(check: CheckDecided) -> list[str]:
    """Tell one check: where, wanted, got, when, by how much, raw bytes."""
    step = "precondition" if check.step == 0 else f"step {check.step}"
    lines = [f"{step}, {check.signal}: {check.outcome}"]
    if check.outcome == "pass":
        lines[0] += f", {check.got}{_after(check)}{_margin(check)}"
        return [visible_line(lines[0])]
    lines += [
        f"    wanted  {check.wanted} {check.when}",
        f"    got     {check.got}{_after(check)}{_margin(check)}",
    ]
    lines += [f"    {line}" for line in _proof(check)]
    return [visible_line(line) for line in lines]


def case_lines(case: CaseResult) -> list[str]:
    """Tell a case that did not simply pass: reasons first, then every attempt with its checks."""
    lines = [visible_line(reason) for reason in case.reasons]
    for attempt in case.attempts:
        if attempt.checks or len(case.attempts) > 1:
            lines.append("")
            lines += _attempt_lines(attempt, len(case.attempts))
        for console in attempt.consoles:
            lines += ["", *console.whole()]
    lines.append("")
    if case.requirements:
        lines.append(visible_line(f"requirements: {', '.join(case.requirements)}"))
    if case.place:
        lines.append(visible_line(f"plan: {case.place}"))
    return lines


def told_lines(case: CaseResult) -> list[tuple[str, Tone]]:
    """Tell a case under its heading: every sentence with its looks, bytes and place below it."""
    lines: list[tuple[str, Tone]] = []
    several = len(case.attempts) > 1
    for attempt in case.attempts:
        ended = attempt.outcome is not None or attempt is not case.attempts[-1]
        reasons = attempt.reasons if ended else case.reasons
        told = _told_attempt(case.title, attempt, reasons)
        if several:
            lines.append((f"attempt {attempt.number}: {_word(attempt)}", Tone.PLAIN))
            told = [(f"    {text}", tone) for text, tone in told]
        lines += told
        for console in attempt.consoles:
            lines += [(text, Tone.QUIET) for text in console.last(TOLD)]
    if not case.attempts:
        lines += [(visible_line(reason), Tone.PLAIN) for reason in case.reasons]
    if case.requirements:
        shown = visible_line(", ".join(case.requirements))
        lines.append((f"requirements: {shown}", Tone.QUIET))
    if case.place and not any(attempt.checks for attempt in case.attempts):
        lines.append((f"plan: {visible_line(case.place)}", Tone.QUIET))
    return lines


def nodes_of(case: CaseResult) -> list[str]:
    """Return the nodes that are to blame, in order of appearance.

    Those whose checks did not pass, and those that failed the case by something else.
    """
    names: list[str] = []
    for attempt in case.attempts:
        names += attempt.blamed
        names += [check.node for check in attempt.checks if check.outcome != "pass"]
    return list(dict.fromkeys(names))


def in_trouble(case: CaseResult) -> list[str]:
    """Return who a case that did not pass is told under: its nodes, or in a word who else.

    Where nobody is sure of a node, that is where to look, and not where its absence showed.
    """
    if case.outcome in (Outcome.FAIL, Outcome.UNSTABLE):
        return nodes_of(case) or [SOME_NODE]
    unsure = dict.fromkeys(name for attempt in case.attempts for name in attempt.unsure)
    return [*unsure] or nodes_of(case) or [BENCH]


def _told_attempt(title: str, attempt: Attempt, reasons: tuple[str, ...]) -> list[tuple[str, Tone]]:
    bad = {check.text: check for check in attempt.checks if check.outcome != "pass"}
    sentences = dict.fromkeys((*reasons, *bad))
    lines: list[tuple[str, Tone]] = []
    for text in sentences:
        lines.append((visible_line(under_heading(title, text)), Tone.PLAIN))
        if text in bad:
            lines += [(visible_line(f"    {line}"), Tone.QUIET) for line in _proof(bad[text])]
    passed = sum(check.outcome == "pass" for check in attempt.checks)
    if passed:
        other = ("check" if passed == 1 else "checks") if not bad else _others(passed)
        lines.append((f"{passed} {other} passed", Tone.QUIET))
    return lines


def _others(count: int) -> str:
    return "other" if count == 1 else "others"


def under_heading(title: str, text: str) -> str:
    """Leave out the title at the front of a sentence: the heading says it already.

    >>> under_heading("a vane turns", "a vane turns, step 1: it did not")
    'step 1: it did not'
    """
    rest = text.removeprefix(title)
    return rest.lstrip(",: ") if rest[:2] in (", ", ": ") else text


def _proof(check: CheckDecided) -> list[str]:
    """Return how often it was looked at, the bytes that decided, and where the check stands."""
    lines = []
    if check.gap is not None:
        looks = f"{_times(check.seen)}, longest gap {show_duration(Duration(check.gap))}"
        lines.append(f"looked  {looks}")
    if check.last:
        lines.append(f"bytes   {spaced_hex(check.last)}")
    return [*lines, f"plan    {check.place}"]


def _word(attempt: Attempt) -> str:
    return "not ended" if attempt.outcome is None else attempt.outcome.word


def _attempt_lines(attempt: Attempt, of: int) -> list[str]:
    head = f"attempt {attempt.number}: {_word(attempt)}" if of > 1 else "checks:"
    lines = [head]
    bad_first = sorted(attempt.checks, key=lambda check: check.outcome == "pass")
    for check in bad_first:
        lines += [f"  {line}" for line in check_lines(check)]
    return lines


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _after(check: CheckDecided) -> str:
    if check.elapsed is None:
        return ""
    begin = "the case began" if check.step == 0 else "the stimulus"
    return f", {show_duration(Duration(check.elapsed))} after {begin}"


def _margin(check: CheckDecided) -> str:
    return "" if check.margin is None else f", margin {check.margin:+.2f}"
