"""Expectations: on which signals, what, and when.

Plans repeat themselves, so what was read once without a mistake for the same words and the same
signal is not read again (`Scope.known`).
"""

from hil.core.instant import ZERO, Duration
from hil.core.plan import Expectation, Timing
from hil.core.signal import Signal
from hil.files.condition_text import ConditionReader, Worded
from hil.files.mistake import Page, show
from hil.files.plan_shape import EXPECTATION, PATH, PATHS, PRECONDITION_ENTRY
from hil.files.response_text import read_responses
from hil.files.rule_text import ruled
from hil.files.scope import Scope
from hil.files.sense import check_sense
from hil.files.split_text import read_splits
from hil.files.timing_text import (
    PATIENCE,
    read_timing,
    refuse_finer_than_looks,
    show_timing,
    timing_key,
)
from hil.files.tree import Map, Node, Scalar, Seq

_WANTED = EXPECTATION.choices[0]
_CONDITION_WORDS = (*_WANTED, "tolerance", "edges")


def read_expectation(
    node: Node,
    scope: Scope,
    page: Page,
    *,
    before_steps: bool = False,
    wait: Duration = ZERO,
) -> list[Expectation]:
    """Return one expectation; several where its signals differ in what is wanted of them.

    `before_steps` is for preconditions, which need no deadline of their own; `wait` is the step's.
    """
    record = PRECONDITION_ENTRY if before_steps else EXPECTATION
    fields = record.open(node, page)
    if fields is None:
        return []
    if before_steps and "unchanged" in fields:
        page.wrong(fields["unchanged"], "a precondition has nothing before it to compare with")
        return []
    signals = _signals(fields, scope, page)
    timed = _timing(fields, scope, page, PATIENCE if before_steps else None)
    if sum(word in fields for word in _WANTED) != 1:
        return []
    groups: dict[Worded, list[str]] = {}
    for signal in signals:
        worded = _condition(fields, timed[0] if timed else None, signal, node, scope, page)
        if worded is not None:
            groups.setdefault(worded, []).append(signal.path)
    if timed is None:
        return []
    found = []
    for (condition, wanted), paths in groups.items():
        one = Expectation(
            signals=tuple(paths),
            condition=condition,
            timing=timed[0],
            wanted=wanted,
            when=timed[1],
            mark=page.mark(node),
        )
        members = [scope.signals[path] for path in paths]
        responses = read_responses(one, fields, members[0], wait, page)
        splits = read_splits(one, fields, members, scope, page)
        found += [ruled(one, fields, members, page), *responses, *splits]
    return found


def read_plain_expectation(key: Scalar, node: Node, scope: Scope, page: Page) -> list[Expectation]:
    """Return the expectation of a precondition written as `signal: value`."""
    signal = _sensed(key.text, key, scope, page)
    if signal is None:
        return []
    timing = Timing(within=PATIENCE)
    worded = _condition({"value": node}, timing, signal, node, scope, page)
    if worded is None:
        return []
    return [
        Expectation(
            signals=(signal.path,),
            condition=worded[0],
            timing=timing,
            wanted=worded[1],
            when=show_timing(timing),
            mark=page.mark(key),
        )
    ]


def _signals(fields: dict[str, Node], scope: Scope, page: Page) -> list[Signal]:
    if "signal" not in fields:
        return []
    node = fields["signal"]
    entries = PATHS.open(node, page) if isinstance(node, Seq) else [node]
    found: dict[str, Signal] = {}
    for entry in entries:
        path = PATH.read(entry, page, "signal")
        signal = None if path is None else _sensed(path, entry, scope, page)
        if signal is None:
            continue
        if signal.path in found:
            page.wrong(entry, f"signal: {show(signal.path)} stands here twice")
        found[signal.path] = signal
    return list(found.values())


def _sensed(path: str, place: Node, scope: Scope, page: Page) -> Signal | None:
    signal = scope.find(path, place, page)
    if signal is not None and not signal.sensed:
        page.wrong(place, f"{path} is in no reading of its node, so nobody can see it")
        return None
    return signal


def _timing(
    fields: dict[str, Node], scope: Scope, page: Page, default: Duration | None
) -> tuple[Timing, str] | None:
    key = ("timing", default, timing_key(fields))
    found: tuple[Timing, str] | None = scope.known.get(key)
    if found is not None:
        return found
    timing = read_timing(fields, page, default)
    if timing is None:
        return None
    found = (timing, show_timing(timing))
    scope.known[key] = found
    return found


def _condition(
    fields: dict[str, Node],
    timing: Timing | None,
    signal: Signal,
    node: Node,
    scope: Scope,
    page: Page,
) -> Worded | None:
    words = tuple((word, _words(fields[word])) for word in _CONDITION_WORDS if word in fields)
    key = (signal.path, words, timing)
    found: Worded | None = scope.known.get(key)
    if found is not None:
        return found
    before = page.count
    worded = ConditionReader(fields, signal, scope.sensed[signal.path], page).read()
    if worded is not None and timing is not None:
        check_sense(worded[0], timing, signal, node, page)
        refuse_finer_than_looks(timing, fields, signal, page)
    if worded is not None and page.count == before:
        scope.known[key] = worded
    return worded


def _words(node: Node) -> object:
    """Return what a node says, as a key for tables."""
    if isinstance(node, Scalar):
        return node.text
    if isinstance(node, Seq):
        return tuple(_words(item) for item in node.items)
    assert isinstance(node, Map)
    return tuple((key, _words(value)) for key, (_, value) in node.pairs.items())
