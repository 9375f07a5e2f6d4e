"""What happened in a case, in lines for people; the same in JUnit and on the terminal."""

from hil.core.event import CheckDecided
from hil.core.instant import Duration, show_duration
from hil.report.tally import Attempt, CaseResult
from hil.report.visible import visible_line

_BYTES_SHOWN = 64


def seconds(nanoseconds: int, places: int) -> str:
    """Render seconds as a plain decimal with a dot, whatever the locale; never negative.

    >>> seconds(14_029_255_000_000, 6), seconds(100, 6), seconds(-1, 3)
    ('14029.255000', '0.000000', '0.000')
    """
    unit = 10 ** (9 - places)
    count = (max(0, nanoseconds) + unit // 2) // unit
    return f"{count // 10**places}.{count % 10**places:0{places}d}"


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
    if check.gap is not None:
        looks = f"{_times(check.seen)}, longest gap {show_duration(Duration(check.gap))}"
        lines.append(f"    looked  {looks}")
    if check.last:
        lines.append(f"    bytes   {spaced_hex(check.last)}")
    lines.append(f"    plan    {check.place}")
    return [visible_line(line) for line in lines]


def case_lines(case: CaseResult) -> list[str]:
    """Tell a case that did not simply pass: reasons first, then every attempt with its checks."""
    lines = [visible_line(reason) for reason in case.reasons]
    for attempt in case.attempts:
        if attempt.checks or len(case.attempts) > 1:
            lines.append("")
            lines += _attempt_lines(attempt, len(case.attempts))
    lines.append("")
    if case.requirements:
        lines.append(visible_line(f"requirements: {', '.join(case.requirements)}"))
    if case.place:
        lines.append(visible_line(f"plan: {case.place}"))
    return lines


def nodes_of(case: CaseResult) -> list[str]:
    """Return the nodes whose checks did not pass, in order of appearance."""
    names = [
        check.node
        for attempt in case.attempts
        for check in attempt.checks
        if check.outcome != "pass"
    ]
    return list(dict.fromkeys(names))


def _attempt_lines(attempt: Attempt, of: int) -> list[str]:
    word = "not ended" if attempt.outcome is None else attempt.outcome.word
    head = f"attempt {attempt.number}: {word}" if of > 1 else "checks:"
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
