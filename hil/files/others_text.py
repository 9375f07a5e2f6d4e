"""`signal: others`: every signal that the step does not name and that nothing makes dependent."""

from collections.abc import Iterable

from hil.core.plan import Expectation, Timing, Unchanged
from hil.files.mistake import Page
from hil.files.plan_shape import EXPECTATION, OTHERS, YES
from hil.files.scope import Scope
from hil.files.timing_text import read_timing, show_timing
from hil.files.tree import Map, Node, Scalar
from hil.measure.stillness import Stillness

_ALLOWED = ("signal", "unchanged", "during")


def is_others(node: Node) -> bool:
    """Say whether an expectation is about all other signals."""
    if not isinstance(node, Map) or "signal" not in node.pairs:
        return False
    signal = node.pairs["signal"][1]
    return isinstance(signal, Scalar) and signal.text == OTHERS


def read_others(
    node: Node, driven: Iterable[str], named: Iterable[str], scope: Scope, page: Page
) -> list[Expectation]:
    """Return the expectation that nothing else moves; `named` are the step's own signals."""
    fields = EXPECTATION.open(node, page)
    if fields is None:
        return []
    before = page.count
    for word in fields:
        if word not in _ALLOWED:
            what = f"`{word}` does not go with `signal: {OTHERS}`"
            page.wrong(fields[word], what, "{signal: others, unchanged: yes, during: 600 ms}")
    if "unchanged" not in fields or "during" not in fields:
        what = f"`signal: {OTHERS}` needs `unchanged: yes` and `during`"
        page.wrong(node, what, "{signal: others, unchanged: yes, during: 600 ms}")
        return []
    YES.read(fields["unchanged"], page, "unchanged")
    timing = read_timing(fields, page, None)
    causes = tuple(driven)
    watched = _watched(causes, set(named), scope)
    if not watched:
        page.wrong(node, "there are no other signals on this bench", "without it")
    if timing is None or timing.during is None or page.count > before:
        return []
    return [_expectation(causes, watched, timing, node, scope, page)]


def _expectation(
    causes: tuple[str, ...],
    watched: tuple[str, ...],
    timing: Timing,
    node: Node,
    scope: Scope,
    page: Page,
) -> Expectation:
    assert timing.during is not None
    opens, closes = timing.during
    moved = tuple(dict.fromkeys(_shown_by(path, scope) for path in causes))
    return Expectation(
        signals=watched,
        condition=Unchanged(),
        timing=timing,
        wanted=f"{len(watched)} other signals unchanged",
        when=show_timing(timing),
        mark=page.mark(node),
        measure=Stillness(moved=moved, watched=watched, opens=opens, closes=closes),
    )


def _shown_by(path: str, scope: Scope) -> str:
    """Return the signal that shows where a driven one is."""
    drive = scope.signals[path].drive
    if drive is not None and drive.readback is not None:
        return drive.readback
    return path


def _watched(causes: tuple[str, ...], named: set[str], scope: Scope) -> tuple[str, ...]:
    moving = _dependent(causes, scope)
    return tuple(
        path
        for path, signal in scope.signals.items()
        if signal.sensed and path not in moving and path not in named
    )


def _dependent(causes: tuple[str, ...], scope: Scope) -> set[str]:
    """Return what moves with the causes: their read-backs, and what the bench file declares."""
    moving = set(causes)
    effects: dict[str, set[str]] = {}
    for effect, sources in scope.rack.depends.items():
        for source in sources:
            effects.setdefault(source, set()).add(effect)
    for path, signal in scope.signals.items():
        if signal.drive is not None and signal.drive.readback is not None:
            effects.setdefault(path, set()).add(signal.drive.readback)
    waiting = list(causes)
    while waiting:
        for effect in effects.get(waiting.pop(), ()):
            if effect not in moving:
                moving.add(effect)
                waiting.append(effect)
    return moving
