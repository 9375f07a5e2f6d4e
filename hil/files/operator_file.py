"""Reading the `operator` of a bench file: what stands in for a person, by the plans' own words."""

from collections.abc import Container

from hil.core.plan import Expectation
from hil.core.signal import Value
from hil.files.expectation_text import read_expectation, read_plain_expectation
from hil.files.mistake import Page, show
from hil.files.operator_shape import ACTS, LOOKS, OPERATOR
from hil.files.plan_shape import PRECONDITIONS, STIMULI
from hil.files.scope import Scope
from hil.files.tree import Map, Node, Scalar, Seq, describe
from hil.wire.rack import Rack
from hil.wire.stand_in import StandIn, wording


def read_operator(node: Node, rack: Rack, page: Page) -> StandIn | None:
    """Return what stands in; None, with every mistake noted, where it cannot be read."""
    fields = OPERATOR.open(node, page)
    if fields is None:
        return None
    before = page.count
    scope = Scope(rack)
    acts: dict[str, tuple[tuple[str, Value], ...]] = {}
    looks: dict[str, tuple[Expectation, ...]] = {}
    for key, text, place in ACTS.open(fields["acts"], page) if "acts" in fields else ():
        if _is_new(key, text, acts, page):
            acts[wording(text)] = _driven(place, scope, page)
    for key, text, place in LOOKS.open(fields["looks"], page) if "looks" in fields else ():
        if _is_new(key, text, looks, page):
            looks[wording(text)] = read_states(place, text, scope, page)
    return StandIn(acts=acts, looks=looks) if page.count == before else None


def read_states(node: Node, name: str, scope: Scope, page: Page) -> tuple[Expectation, ...]:
    """Return how things must be: `{signal: value}`, or a list of expectations with a usual limit."""
    found: list[Expectation] = []
    if isinstance(node, Map):
        for key, _, value in STIMULI.open(node, page):
            found += read_plain_expectation(key, value, scope, page)
    elif isinstance(node, Seq):
        for entry in PRECONDITIONS.open(node, page):
            found += read_expectation(entry, scope, page, before_steps=True)
    else:
        what = f"{name}: expected signals with values, got {describe(node)}"
        page.wrong(node, what, f"{name}: {{beacon.lamp: green}}")
    return tuple(found)


def _driven(node: Node, scope: Scope, page: Page) -> tuple[tuple[str, Value], ...]:
    found = []
    for key, path, value in STIMULI.open(node, page):
        commanded = scope.command(path, key, value, page)
        if commanded is not None:
            found.append((path, commanded))
    return tuple(found)


def _is_new(key: Scalar, text: str, known: Container[str], page: Page) -> bool:
    if wording(text) in known:
        page.wrong(key, f"operator: {show(text)} stands here twice")
        return False
    return True
