"""`relation`: an equation between signals, its units checked, and when it must hold."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from hil.core.plan import Expectation, OneOf, Timing
from hil.core.signal import Kind
from hil.files.leaf import QUANTITY, TITLE
from hil.files.measure_shape import RELATION
from hil.files.mistake import Misread, Page, nearest
from hil.files.scope import Scope
from hil.files.timing_text import read_timing, refuse_finer_than_looks, show_timing
from hil.files.tree import Node, Scalar
from hil.files.unit import Unit, read_unit
from hil.measure.binding import UnitOf
from hil.measure.dimension import Units
from hil.measure.exact import as_decimal
from hil.measure.expression import Comparison, names
from hil.measure.grain import CountOf, check_tolerance, common
from hil.measure.holding import HOLDS, Holding
from hil.measure.lexis import ExpressionError
from hil.measure.relation import Ends, Relation, bind
from hil.measure.syntax import read_expression, read_relation


def read_relation_entry(node: Node, scope: Scope, page: Page) -> list[Expectation]:
    """Return the expectation of a relation."""
    fields = RELATION.open(node, page)
    if fields is None:
        return []
    timing = read_timing(fields, page, None)
    text = TITLE.at(fields, "relation", page)
    if text is None:
        return []
    relation = _relation(text, fields, scope, page)
    if relation is None or timing is None or _is_no_time(timing):
        return []
    for path in sorted(relation.signals):
        refuse_finer_than_looks(timing, fields, scope.signals[path], page)
    added = ""
    if "tolerance" in fields and isinstance(fields["tolerance"], Scalar):
        added = f" ± {fields['tolerance'].text}"
    return [
        Expectation(
            signals=tuple(sorted(relation.signals)),
            condition=OneOf(values=(HOLDS,)),
            timing=timing,
            wanted=f"{' '.join(text.split())}{added}",
            when=show_timing(timing),
            mark=page.mark(node),
            measure=Holding(relation=relation, owner=_owner(relation)),
        )
    ]


def _is_no_time(timing: Timing) -> bool:
    return timing.within is None and timing.during is None and timing.never is None


def _owner(relation: Relation) -> str:
    left = names(relation.comparison.left)
    return min(left or relation.signals)


def _relation(text: str, fields: dict[str, Node], scope: Scope, page: Page) -> Relation | None:
    place = fields["relation"]
    try:
        comparison = read_relation(text)
    except ExpressionError as error:
        _note(error, place, page)
        return None
    if "tolerance" in fields:
        widened = _widened(comparison, fields["tolerance"], page)
        if widened is None:
            return None
        comparison = widened
    return _bound(comparison, fields, scope, page)


def _widened(comparison: Comparison, node: Node, page: Page) -> Comparison | None:
    text = QUANTITY.read(node, page, "tolerance")
    if text is None:
        return None
    if comparison.tolerance is not None:
        page.wrong(node, "tolerance: the relation has one already, behind ±", "leave one out")
        return None
    if comparison.sign != "=":
        page.wrong(node, "tolerance: goes with = only", "without it, or with =")
        return None
    try:
        return replace(comparison, tolerance=read_expression(text))
    except ExpressionError as error:
        _note(error, node, page)
        return None


def _bound(
    comparison: Comparison, fields: dict[str, Node], scope: Scope, page: Page
) -> Relation | None:
    """Return the relation with its units; what is wrong with its tolerance is told at its place."""
    sides = replace(comparison, tolerance=None)
    for part, place in (
        (sides, fields["relation"]),
        (comparison, fields.get("tolerance", fields["relation"])),
    ):
        try:
            relation = bind(part, _unit(scope), UNITS, _ends(scope))
            check_tolerance(part, _unit(scope), _count(scope), UNITS)
        except ExpressionError as error:
            _note(_hinted(error, part, scope), place, page)
            return None
    return relation


def _unit(scope: Scope) -> UnitOf:
    """Return how to look up the unit of a signal: None where it is no number that can be seen."""

    def unit_of(path: str) -> str | None:
        signal = scope.signals.get(path)
        if signal is None or signal.kind is not Kind.NUMBER or not signal.sensed:
            return None
        return signal.unit

    return unit_of


def _ends(scope: Scope) -> Ends:
    return lambda path: (scope.signals[path].low, scope.signals[path].high)


def _count(scope: Scope) -> CountOf:
    """Return how to look up what all values of a signal are multiples of."""

    def count_of(path: str) -> Decimal | None:
        count = scope.signals[path].resolution
        if count is None:
            return None
        offset = abs(scope.sensed[path].encoding.offset)
        shared = common(Fraction(count), Fraction(offset))
        return None if shared is None else as_decimal(shared)

    return count_of


def _hinted(error: ExpressionError, part: Comparison, scope: Scope) -> ExpressionError:
    """Return the mistake with what to try where a signal is unknown, or is no number."""
    unit_of = _unit(scope)
    unknown = [path for path in sorted(names(part)) if unit_of(path) is None]
    if error.hint or not unknown:
        return error
    path = unknown[0]
    hint = nearest(path, [name for name in scope.signals if unit_of(name) is not None])
    if path in scope.signals and scope.signals[path].kind is not Kind.NUMBER:
        hint = f"{{signal: {path}, value: …}}, or `agree`"
    return ExpressionError(error.column, error.what, hint)


def _note(error: ExpressionError, place: Node, page: Page) -> None:
    quoted = isinstance(place, Scalar) and page.line_from(place)[:1] in ("'", '"')
    column = place.column + error.column - 1 + quoted
    page.wrong_at(place.line, column, f"relation: {error.what}", error.hint)


def _find(unit: str) -> Unit:
    try:
        return read_unit(unit)
    except Misread as misread:
        hint = f", try {misread.hint}" if misread.hint else ""
        raise ValueError(f"{misread.what}{hint}") from misread


def _dimension(unit: str) -> str:
    parts = sorted(_find(unit).dimension)
    return "*".join(name if power == 1 else f"{name}^{power}" for name, power in parts)


def _offset(unit: str) -> Fraction:
    return _find(unit).offset


UNITS = Units(dimension_of=_dimension, factor=lambda unit: _find(unit).factor, offset=_offset)
"""The units of plans, as relations ask for them."""
