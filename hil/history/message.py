"""What changed, as a message: plain text, and a small page for mail.

Only what changed and what is broken still is in it.  The page has tables and one style block in
its head, no script, no picture and nothing that is fetched; words say what colours say.
"""

from collections.abc import Iterator, Sequence
from html import escape

from hil.core.count import counted
from hil.history.change import Change, Changes, Kind
from hil.history.told import (
    between,
    by_reason,
    headline,
    mark_sentences,
    slower_sentence,
    why,
)
from hil.report.visible import visible_line

MOST = 30
"""So many of one kind are named; the others are counted."""

_KINDS = (Kind.BROKEN, Kind.STILL, Kind.FIXED, Kind.KNOWN)
_STYLE = (
    "body{font:15px/1.45 sans-serif;color:#111;background:#fff;max-width:52em;margin:1.2em}"
    "h1{font-size:1.25em}h2{font-size:1.05em;margin:1.2em 0 .3em}"
    "table{border-collapse:collapse;width:100%}"
    "th,td{text-align:left;vertical-align:top;padding:.3em .8em .3em 0;border-top:1px solid #bbb}"
    "th{font-weight:normal;color:#555}.plan,.note{color:#555}"
    ".broken h2{border-left:.4em solid #a11;padding-left:.4em}"
    ".fixed h2{border-left:.4em solid #276227;padding-left:.4em}"
    ".known h2{border-left:.4em solid #8a5a00;padding-left:.4em}"
)
_CLASSES = {Kind.BROKEN: "broken", Kind.STILL: "broken", Kind.FIXED: "fixed", Kind.KNOWN: "known"}


def as_text(changes: Changes) -> str:
    """Return the message as plain text, of lines that stay below 100 characters where they can."""
    lines = [headline(changes), between(changes), *changes.notes]
    for kind in _KINDS:
        found = changes.of(kind)
        if found:
            lines += ["", f"{kind.value.upper()} ({len(found)})"]
            left = MOST
            for told, alike in by_reason(found):
                lines += [f"- {change.plan}: {change.title}" for change in alike[:left]]
                all_of_them = f"all {len(alike)}: " if len(alike) > 1 else ""
                lines += [f"  {all_of_them}{told}"] if left > 0 else []
                left = max(0, left - len(alike))
            lines += [f"- and {len(found) - MOST} more"] if len(found) > MOST else []
    if changes.slower:
        lines += ["", f"SLOWER ({len(changes.slower)})"]
        for one in changes.slower[:MOST]:
            lines.append(f"- {one.plan}: {one.title}, step {one.step}: {one.signal}")
            lines.append(f"  {slower_sentence(one)}")
        more = len(changes.slower) - MOST
        lines += [f"- and {more} more"] if more > 0 else []
    if changes.marks:
        lines += ["", f"KNOWN FAULTS TO SEE TO ({len(changes.marks)})"]
        lines += [f"- {text}" for text in mark_sentences(changes)]
    return "".join(f"{visible_line(line)}\n" for line in [*lines, "", _sums(changes)])


def as_mail(changes: Changes) -> str:
    """Return the message as a page of HTML."""
    title = _said(headline(changes))
    parts = [
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">',
        f"<title>{title}</title>\n<style>{_STYLE}</style></head>\n<body>",
        f"<h1>{title}</h1>\n<p>{_said(between(changes))}<br>{_said(_sums(changes))}</p>",
    ]
    if changes.notes:
        parts.append(f'<p class="note">{"<br>".join(_said(note) for note in changes.notes)}</p>')
    for kind in _KINDS:
        found = changes.of(kind)
        if found:
            parts.append(
                f'<div class="{_CLASSES[kind]}"><h2>{_heading(kind.value, len(found))}</h2>'
            )
            parts += [*_table(("case", "what"), _cases(found)), "</div>"]
    if changes.slower:
        rows = [
            (f"{one.title}, step {one.step}: {one.signal}", one.plan, slower_sentence(one))
            for one in changes.slower
        ]
        parts.append(f'<div class="known"><h2>{_heading("slower", len(rows))}</h2>')
        parts += [*_table(("response", "how long"), rows), "</div>"]
    if changes.marks:
        told = "".join(f"<li>{_said(text)}</li>" for text in mark_sentences(changes))
        parts.append(f'<div class="known"><h2>known faults to see to</h2><ul>{told}</ul></div>')
    return "\n".join([*parts, "</body></html>\n"])


def _cases(changes: Sequence[Change]) -> list[tuple[str, str, str]]:
    return [(change.title, change.plan, why(change)) for change in changes]


def _table(head: tuple[str, str], rows: Sequence[tuple[str, str, str]]) -> Iterator[str]:
    yield f"<table><tr><th>{head[0]}</th><th>{head[1]}</th></tr>"
    for title, plan, told in rows[:MOST]:
        yield (
            f'<tr><td>{_said(title)}<br><span class="plan">{_said(plan)}</span></td>'
            f"<td>{_said(told)}</td></tr>"
        )
    if len(rows) > MOST:
        yield f'<tr><td colspan="2">and {len(rows) - MOST} more</td></tr>'
    yield "</table>"


def _heading(word: str, count: int) -> str:
    return f"{word} ({count})"


def _sums(changes: Changes) -> str:
    run = changes.newer
    known = f", {counted(run.known, 'known fault')}" if run.known else ""
    return f"{run.passed} of {counted(run.cases, 'case')} passed{known}"


def _said(text: str) -> str:
    return escape(visible_line(text))
