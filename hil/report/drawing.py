"""Parts of a picture as SVG text: presentation attributes only, no style."""

from xml.sax.saxutils import escape

from hil.report.visible import visible_line

INK, SOFT, PAPER = "#111111", "#666666", "#ffffff"
LETTER = 0.58
"""How wide a letter is, as a part of the size of its font, on the generous side."""

PATTERNS = {
    "rising-lines": "M-2 10 L10 -2 M-2 22 L22 -2 M10 22 L22 10",
    "falling-lines": "M-2 10 L10 22 M-2 -2 L22 22 M10 -2 L22 10",
    "crosses": "M5 1 V9 M1 5 H9 M15 11 V19 M11 15 H19",
    "level-lines": "M0 5 H20 M0 15 H20",
    "upright-lines": "M5 0 V20 M15 0 V20",
    "dots": "M4 5 h2 M14 15 h2",
}


def definitions() -> str:
    """Return the patterns: dark lines with a light border, to be seen on any colour."""
    made = [
        f'<pattern id="{name}" width="20" height="20" patternUnits="userSpaceOnUse">'
        f'<path d="{path}" stroke="{PAPER}" stroke-width="3" stroke-opacity="0.55" fill="none"/>'
        f'<path d="{path}" stroke="{INK}" stroke-width="1.2" fill="none"/></pattern>'
        for name, path in PATTERNS.items()
    ]
    return f"<defs>{''.join(made)}</defs>"


def wide(words: str, size: int) -> float:
    """Return about how wide words are."""
    return len(words) * size * LETTER


def fit(words: str, room: float, size: int) -> str:
    """Return words that fit, cut with an ellipsis where they do not."""
    most = max(1, int(room / (size * LETTER)))
    return words if len(words) <= most else words[: most - 1] + "…"


def text(
    left: float,
    line: float,
    words: str,
    anchor: str = "start",
    size: int = 12,
    weight: str = "normal",
    fill: str = INK,
) -> str:
    """Return words at a place, with a light border so that lines behind do not disturb them."""
    return (
        f'<text x="{left:.1f}" y="{line:.1f}" text-anchor="{anchor}" font-size="{size}" '
        f'font-weight="{weight}" fill="{fill}" stroke="{PAPER}" stroke-width="3" '
        f'stroke-linejoin="round" paint-order="stroke">{said(words)}</text>'
    )


def said(words: str) -> str:
    """Return words as they may stand in XML."""
    return escape(visible_line(words))


def box(
    left: float,
    top: float,
    width: float,
    height: float,
    fill: str,
    edge: str = "none",
    dashes: str = "",
) -> str:
    """Return a rectangle."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<rect x="{left:.2f}" y="{top:.2f}" width="{max(0.0, width):.2f}" height="{height:.2f}" '
        f'fill="{fill}" stroke="{edge}"{dashed}/>'
    )


def stroke(path: str, edge: str = INK, width: float = 1, dashes: str = "") -> str:
    """Return a line."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<path d="{path}" fill="none" stroke="{edge}" stroke-width="{width}"{dashed}/>'


def disc(left: float, line: float, radius: float, fill: str = INK) -> str:
    """Return a disc with a dark border."""
    return (
        f'<circle cx="{left:.2f}" cy="{line:.2f}" r="{radius}" fill="{fill}" '
        f'stroke="{INK}" stroke-width="1.5"/>'
    )
