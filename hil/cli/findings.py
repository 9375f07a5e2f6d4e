"""Findings as lines for the terminal.

fixtures/feed-alarms.yaml:24:9: warning AL-502: low and normal differ by 2.0 ...
    try: add a text, a shape, blinking or a position, or choose colours further apart
"""

from collections import Counter
from collections.abc import Iterable

from hil.alarms.finding import Finding, Severity
from hil.alarms.spec import Spec
from hil.files.alarm_pair import Comparison
from hil.files.read import AlarmReading
from hil.report.line import Line, Tone

_TONES = {
    Severity.ERROR: Tone.BAD,
    Severity.WARNING: Tone.DOUBT,
    Severity.ADVICE: Tone.PLAIN,
}
_EMPTY: Line = (("", Tone.PLAIN),)


def review_lines(reading: AlarmReading) -> list[Line]:
    """Return the review of every spec, and a line that counts."""
    lines: list[Line] = []
    for spec, findings in reading.reviewed:
        lines += [_heading(spec), *finding_lines(findings), _EMPTY]
    lines.append(((count_findings(reading.findings), Tone.STRONG),))
    return lines


def compare_lines(comparison: Comparison) -> list[Line]:
    """Return the differences of every pair, the specs without partner, and a line that counts."""
    lines: list[Line] = []
    for first, second, differences in comparison.pairs:
        both = f"{first.name} ({first.unit}), {second.name} ({second.unit})"
        lines.append(((both, Tone.STRONG),))
        lines += (
            finding_lines(differences) if differences else [(("both say the same", Tone.GOOD),)]
        )
        lines.append(_EMPTY)
    alone = [(spec, comparison.second) for spec in comparison.first_only]
    alone += [(spec, comparison.first) for spec in comparison.second_only]
    for spec, other in alone:
        text = f"{spec.mark}: {spec.name} ({spec.signal}) has no partner in {other}"
        lines.append(((text, Tone.DOUBT),))
    total = sum(len(differences) for _, _, differences in comparison.pairs)
    counted = f"{_count(len(comparison.pairs), 'pair')}, {_count(total, 'difference')}"
    lines.append(((f"{counted}, {len(alone)} without partner", Tone.STRONG),))
    return lines


def finding_lines(findings: Iterable[Finding]) -> list[Line]:
    """Return the lines of some findings: the open ones with what to do, the accepted ones last."""
    lines: list[Line] = []
    for finding in sorted(findings, key=lambda one: bool(one.accepted)):
        text = f"{finding.code}: {finding.why}"
        if finding.accepted:
            lines.append(((f"{finding.mark}: ", Tone.QUIET), (f"accepted {text}", Tone.QUIET)))
            lines.append(((f"    because: {finding.accepted}", Tone.QUIET),))
            continue
        tone = _TONES[finding.severity]
        lines.append(
            (
                (f"{finding.mark}: ", Tone.PLAIN),
                (finding.severity.value, tone),
                (f" {text}", Tone.PLAIN),
            )
        )
        lines.append(((f"    try: {finding.advice}", Tone.PLAIN),))
    return lines


def count_findings(findings: Iterable[Finding]) -> str:
    """Return how many findings of each kind there are: `1 error, 2 warnings, 23 accepted`."""
    words = ["accepted" if finding.accepted else finding.severity.value for finding in findings]
    counts = Counter(words)
    told = [_count(counts[one.value], one.value) for one in Severity if counts[one.value]]
    told += [f"{counts['accepted']} accepted"] if counts["accepted"] else []
    return ", ".join(told) or "no finding"


def _heading(spec: Spec) -> Line:
    bands, shown = _count(len(spec.bands), "band"), _count(len(spec.indicators), "indicator")
    return ((spec.name, Tone.STRONG), (f"  {spec.signal}, {bands}, {shown}", Tone.PLAIN))


def _count(number: int, word: str) -> str:
    if number == 1:
        return f"1 {word}"
    return f"{number} {word if word == 'advice' else word + 's'}"
