"""The picture of one cycle as SVG text: time to the right, one row to each turn.

Presentation attributes only, no style; the colours are greys and one blue that is as dark as its
grey, so that a black-and-white print says the same.
"""

from collections.abc import Sequence
from xml.sax.saxutils import escape

from hil.bus.segment import Segment
from hil.bus.timeline import Kind, Row, Span, micro, summary

WIDTH, LEFT, RIGHT, TOP, ROW, BAR = 960, 190, 90, 78, 26, 16
LEGEND = (
    (Kind.BEACON, "beacon"),
    (Kind.GAP, "gap before a frame"),
    (Kind.FRAME, "frame"),
    (Kind.UNUSED, "unused turn"),
)
FILLS = {
    Kind.BEACON: ("#111111", "#111111"),
    Kind.GAP: ("url(#gap)", "#777777"),
    Kind.FRAME: ("#9db8d9", "#27496d"),
    Kind.UNUSED: ("#ffffff", "#777777"),
}
HALO = ' stroke="#ffffff" stroke-width="3" paint-order="stroke"'
NARROWEST = 3.0
LETTER = 6.6
LONGEST = 26


def draw(segment: Segment, rows: Sequence[Row], title: str) -> str:
    """Return an SVG picture of a cycle, with a text of its own for screen readers."""
    total = sum(row.length for row in rows)
    height = TOP + len(rows) * ROW + 34
    scale = (WIDTH - LEFT - RIGHT) / max(1, total)
    whole = micro(segment, total)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" '
        f'width="{WIDTH}" height="{height}" role="img" font-family="sans-serif" font-size="12">',
        f"<title>{escape(title)}</title>",
        f"<desc>{escape(_description(segment, rows))}</desc>",
        '<defs><pattern id="gap" width="5" height="5" patternUnits="userSpaceOnUse">'
        '<rect width="5" height="5" fill="#ffffff"/>'
        '<path d="M0 5 L5 0" stroke="#777777" stroke-width="1"/></pattern></defs>',
        f'<rect width="{WIDTH}" height="{height}" fill="#ffffff"/>',
        _text(16, 24, f"{title}: {whole}", size=15, weight="bold"),
        *_legend(),
        _text(LEFT - 10, TOP - 10, "turn", "end", 11),
        _text(WIDTH - RIGHT + 8, TOP - 10, "lasts", size=11),
        *_axis(segment, total, scale, height),
    ]
    for number, row in enumerate(rows):
        parts += _row(segment, row, TOP + number * ROW, scale)
    return "\n".join([*parts, "</svg>", ""])


def _row(segment: Segment, row: Row, top: int, scale: float) -> list[str]:
    line = top + BAR - 3
    title = row.title if len(row.title) <= LONGEST else row.title[: LONGEST - 1] + "…"
    parts = [_text(LEFT - 10, line, title, anchor="end")]
    parts += [_bar(span, top, scale) for span in row.spans]
    if all(_fits(span, scale) for span in row.spans if span.kind is not Kind.GAP):
        parts += [
            _text(_middle(span, scale), line, span.words, "middle", 11, halo="")
            for span in row.spans
            if span.kind is not Kind.GAP
        ]
    else:
        parts.append(_beside(row, line, scale))
    parts.append(_text(WIDTH - RIGHT + 8, line, micro(segment, row.length)))
    return parts


def _bar(span: Span, top: int, scale: float) -> str:
    fill, edge = FILLS[span.kind]
    width = span.length * scale
    if span.kind in (Kind.BEACON, Kind.UNUSED):
        width = max(NARROWEST, width)
    return (
        f'<rect x="{LEFT + span.begin * scale:.2f}" y="{top}" width="{width:.2f}" '
        f'height="{BAR}" fill="{fill}" stroke="{edge}" stroke-width="0.8"/>'
    )


def _fits(span: Span, scale: float) -> bool:
    dark = span.kind is Kind.BEACON
    return not dark and span.length * scale >= len(span.words) * LETTER + 8


def _middle(span: Span, scale: float) -> float:
    return LEFT + (span.begin + span.length / 2) * scale


def _beside(row: Row, line: int, scale: float) -> str:
    """Write what happens in a row after its last bar, or before its first where that is full."""
    words = summary(row)
    end = LEFT + max(NARROWEST, (row.begin + row.length) * scale) + 6
    if end + len(words) * LETTER > WIDTH - RIGHT:
        return _text(LEFT + row.begin * scale - 6, line, words, "end", 11)
    return _text(end, line, words, "start", 11)


def _legend() -> list[str]:
    parts, left = [], 16.0
    for kind, words in LEGEND:
        fill, edge = FILLS[kind]
        parts.append(
            f'<rect x="{left:.1f}" y="36" width="18" height="12" fill="{fill}" '
            f'stroke="{edge}" stroke-width="0.8"/>'
        )
        parts.append(_text(left + 24, 46, words, size=11))
        left += 48 + len(words) * LETTER
    return parts


def _axis(segment: Segment, total: int, scale: float, height: int) -> list[str]:
    parts = []
    step = _step(total)
    bottom = height - 28
    for mark in range(0, total + 1, step):
        left = LEFT + mark * scale
        parts.append(
            f'<path d="M{left:.2f} {TOP - 8} V{bottom}" stroke="#d5d5d5" stroke-width="1"/>'
        )
        words = f"{mark * segment.bit_ns / 1000:g}"
        parts.append(_text(left, bottom + 16, words, anchor="middle", size=11))
    parts.append(_text(LEFT - 10, bottom + 16, "µs", "end", 11))
    return parts


def _step(total: int) -> int:
    """Return a round number of bit times of which five to ten make the whole."""
    size = 10
    while True:
        for factor in (1, 2, 5):
            if total <= 10 * factor * size:
                return factor * size
        size *= 10


def _description(segment: Segment, rows: Sequence[Row]) -> str:
    return "; ".join(
        f"{row.title}: {summary(row)}, {micro(segment, row.length)} from {micro(segment, row.begin)}"
        for row in rows
    )


def _text(
    left: float,
    line: float,
    words: str,
    anchor: str = "start",
    size: int = 12,
    weight: str = "normal",
    halo: str = HALO,
) -> str:
    return (
        f'<text x="{left:.1f}" y="{line:.1f}" text-anchor="{anchor}" font-size="{size}" '
        f'font-weight="{weight}" fill="#111111"{halo}>{escape(words)}</text>'
    )
