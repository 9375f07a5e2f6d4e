"""What a summary says beside its tables: why a run ended early, what was odd about nodes and bench."""

import re
from collections import Counter

from hil.report.line import Line, Tone
from hil.report.result import RunResult
from hil.report.story import brief
from hil.report.visible import visible_line

_NOTE = 160  # letters of the first note of its kind
_HOST_NOTES = 5


def stop_lines(result: RunResult) -> list[Line]:
    """Say why the run ended early: of several nodes each has a line of its own."""
    text = "" if result.ended is None else result.ended.aborted
    if not text:
        return []
    names = {visible_line(note.node) for note in result.node_notes}
    some = "|".join(re.escape(name) for name in sorted(names)) or "(?!)"
    parts = re.split(f"(?:: |; )(?=(?:{some}): )", visible_line(text))
    if len(parts) <= 2:
        return [((visible_line(text), Tone.PLAIN),)]
    head, *rest = parts
    return [((f"{head}:", Tone.PLAIN),), *(((f"    {each}", Tone.PLAIN),) for each in rest)]


def note_lines(result: RunResult) -> list[Line]:
    """Say what was odd: each kind of trouble of a node once, with how often and the first of it.

    What the reason for an early end says already is left out.
    """
    told = "" if result.ended is None else result.ended.aborted
    kinds = Counter((note.node, note.trouble) for note in result.node_notes)
    first = {(note.node, note.trouble): note.text for note in reversed(result.node_notes)}
    lines: list[Line] = []
    for (node, trouble), count in sorted(kinds.items()):
        text = first[node, trouble]
        if text and text in told:
            continue
        what = f"{node}: {count} × {trouble}"
        if text:
            what += f"{', first' if count > 1 else ''}: {brief(text, _NOTE)}"
        lines.append(((visible_line(what), Tone.DOUBT),))
    lines += [
        ((visible_line(f"bench: {n.text}"), Tone.DOUBT),) for n in result.host_notes[:_HOST_NOTES]
    ]
    return [*lines, ()] if lines else []
