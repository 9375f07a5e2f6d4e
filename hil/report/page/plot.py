"""The plot of a check as SVG: what was done, what was seen, what was wanted, when it was decided.

    │stimulus        │deadline
    │  ┌─────────────┼──┄┄┄┄┄┄┐      the hatched window is what was wanted, for as long as it was
    │  │░░░░░░░░░░░░░│░░░░hold│
    ├──┴── the line ─◆ decided          a value holds until the next look
    └──┴──────────────┴───────── time from the stimulus

It has a light ground of its own, so that it can be read on a dark page and in print; words and
patterns say what colours say.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from hil.core.event import CheckDecided
from hil.core.instant import Duration, show_duration
from hil.core.signal import Sample, Validity
from hil.report.alarm_scale import Scale, round_step
from hil.report.drawing import INK, PAPER, SOFT, box, definitions, fit, said, stroke, text
from hil.report.page.axis import Axis, axis_of
from hil.report.page.decimate import columns
from hil.report.page.moments import (
    Moment,
    Window,
    moments_of,
    origin_of,
    set_labels,
    windows_of,
)

WIDTH, LEFT, RIGHT, TOP, BOTTOM = 760, 108, 24, 64, 44
GROUND, LINE = "#fbfaf7", "#1b4f8a"
WANTED, UNWANTED = "#d7e6d0", "#f1d3c8"
DOTS = 120
"""With more samples than these only the line is drawn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What was seen of one signal: samples in order, from `start` to `end` of the run's time.

    After `known_until` nobody looked any more, so no value is drawn there.  `origin` is what times
    count from, where it is not the stimulus or the beginning of the case.
    """

    samples: Sequence[Sample]
    start: int
    end: int
    known_until: int
    unit: str = ""
    origin: str = ""


def draw_check(check: CheckDecided, seen: Seen) -> str | None:
    """Return the plot as a whole SVG file; None where nothing was seen that can be drawn."""
    if check.stimulus is None or not seen.samples or seen.end <= seen.start:
        return None
    axis = axis_of(check, seen.samples, TOP)
    if axis is None:
        return None
    origin = check.stimulus
    scale = Scale(_ms(seen.start - origin), _ms(seen.end - origin), LEFT, WIDTH - LEFT - RIGHT)
    height = axis.bottom + BOTTOM
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" '
        f'width="{WIDTH}" height="{height}" role="img" aria-labelledby="title desc" '
        'font-family="sans-serif" font-size="12">',
        f'<title id="title">{said(check.signal)}</title>',
        f'<desc id="desc">{said(described(check, seen))}</desc>',
        definitions(),
        box(0, 0, WIDTH, height, GROUND),
        text(16, 22, fit(check.signal, 330, 14), size=14, weight="bold"),
        text(WIDTH - RIGHT, 22, fit(f"wanted {check.wanted}", 360, 12), "end", fill=SOFT),
    ]
    for window in windows_of(check):
        parts += _window(window, axis, scale)
    counted = seen.origin or origin_of(check)
    parts += _frame(axis, scale, seen.unit, f"time from {counted}")
    parts += _line(seen, origin, axis, scale)
    parts += _moments(moments_of(check, counted), axis, scale)
    return "\n".join([*parts, "</svg>", ""])


def described(check: CheckDecided, seen: Seen) -> str:
    """Say in words what the plot shows."""
    shown = sum(sample.validity is Validity.VALID for sample in seen.samples)
    span = show_duration(Duration(seen.end - seen.start))
    return f"{check.text}. {shown} looks at {check.signal} within {span} are drawn."


def _ms(nanoseconds: int) -> float:
    return nanoseconds / 1e6


def _window(window: Window, axis: Axis, scale: Scale) -> list[str]:
    """Return the areas in which a value was wanted, or was not to be."""
    left, right = scale.at(_ms(window.start)), scale.at(_ms(window.end))
    colour = WANTED if window.wanted else UNWANTED
    pattern = "rising-lines" if window.wanted else "crosses"
    parts = []
    for top, bottom in axis.areas(window.limits):
        size = (left, top, right - left, bottom - top)
        parts += [box(*size, colour, SOFT), box(*size, f"url(#{pattern})")]
    return parts


def _frame(axis: Axis, scale: Scale, unit: str, along: str) -> list[str]:
    right, bottom = WIDTH - RIGHT, axis.bottom
    parts = [box(LEFT, axis.top, right - LEFT, bottom - axis.top, "none", SOFT)]
    for line, words in axis.ticks():
        parts.append(stroke(f"M{LEFT - 5:.1f} {line:.1f} h5", SOFT))
        parts.append(text(LEFT - 9, line + 4, fit(words, LEFT - 20, 12), "end"))
    if unit:
        parts.append(text(LEFT - 9, axis.top - 8, fit(unit, LEFT - 20, 11), "end", 11, fill=SOFT))
    step = round_step(scale.high - scale.low)
    for tick in scale.ticks():
        where = scale.at(tick)
        parts.append(stroke(f"M{where:.1f} {bottom:.1f} v5", SOFT))
        if round(tick / step) % 2 == 0:
            words = show_duration(Duration(round(tick * 1e6)))
            parts.append(text(where, bottom + 18, words, "middle", 11))
    return [*parts, text(right, bottom + 36, along, "end", 11, fill=SOFT)]


def _line(seen: Seen, origin: int, axis: Axis, scale: Scale) -> list[str]:
    """Return what was seen: a line that holds each value, a dot for each look, gaps for faults."""
    samples = seen.samples
    parts: list[str] = []
    run: list[tuple[float, float]] = []
    for sample in samples:
        x, y = scale.at(_ms(sample.at - origin)), axis.at(sample.value)
        if y is None or sample.validity is not Validity.VALID:
            parts += _steps(run, x)
            run = []
            parts.append(stroke(f"M{x - 4:.1f} {axis.bottom - 10} l8 8 m0 -8 l-8 8", INK, 2))
        else:
            run.append((x, y))
    parts += _steps(run, scale.at(_ms(seen.known_until - origin)))
    if len(samples) <= DOTS:
        for sample in samples:
            x, y = scale.at(_ms(sample.at - origin)), axis.at(sample.value)
            if y is not None:
                parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.4" fill="{LINE}"/>')
    return parts


def _steps(run: Sequence[tuple[float, float]], until: float) -> list[str]:
    if not run:
        return []
    pieces = [f"M{run[0][0]:.1f} {run[0][1]:.1f}"]
    for column in columns(run):
        pieces.append(f"H{column.x}")
        heights = (column.first, column.low, column.high, column.last)
        turns = [y for at, y in enumerate(heights) if at == 0 or y != heights[at - 1]]
        pieces += [f"V{y:.1f}" for y in turns]
    pieces.append(f"H{until:.1f}")
    return [stroke("".join(pieces), LINE, 2)]


def _moments(moments: Sequence[Moment], axis: Axis, scale: Scale) -> list[str]:
    """Return the upright lines with their words, and the mark of the decision."""
    parts: list[str] = []
    for moment, x, row in set_labels(moments, lambda at: scale.at(_ms(at)), WIDTH - RIGHT):
        top = 38 + 13 * row
        parts.append(
            stroke(f"M{x:.1f} {top + 3} V{axis.bottom}", INK, moment.weight, moment.dashes)
        )
        anchor = "end" if x > WIDTH * 0.72 else "start"
        shift = -4 if anchor == "end" else 4
        parts.append(text(x + shift, top + 9, moment.words, anchor, 11))
        if moment.decides:
            parts.append(_diamond(x, axis.bottom))
    return parts


def _diamond(x: float, y: float) -> str:
    path = f"M{x:.1f} {y - 7:.1f} l7 7 l-7 7 l-7 -7 z"
    return f'<path d="{path}" fill="{INK}" stroke="{PAPER}" stroke-width="1.5"/>'
