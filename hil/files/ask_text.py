"""The `ask` of a step: a person acts or looks, or the bench has something that does it instead."""

from dataclasses import dataclass, replace

from hil.core.instant import Duration
from hil.core.plan import Ask, Expectation, Limits, Not, OneOf, Stimulus
from hil.core.signal import show_value
from hil.files.ask_shape import ANSWER, ASK
from hil.files.leaf import DURATION, TITLE
from hil.files.mistake import Page, nearest, show
from hil.files.plan_shape import EXPECTATION, RESPONSE_WORDS, SPLIT_WORDS
from hil.files.scope import Scope
from hil.files.tree import Map, Node, Seq
from hil.wire.stand_in import wording

_TIMED = ("not-before", *RESPONSE_WORDS, *SPLIT_WORDS)
_MEASURES = ("traffic", "clock")


@dataclass(frozen=True, slots=True, kw_only=True)
class AskText:
    """An ask, read, with what the bench drives and looks at where it stands in for a person."""

    ask: Ask
    stimuli: tuple[Stimulus, ...] = ()
    expectations: tuple[Expectation, ...] = ()


def read_ask(fields: dict[str, Node], scope: Scope, page: Page) -> AskText | None:
    """Return the `ask` of a step's fields; None, with every mistake noted, where it has none."""
    if "ask" not in fields:
        return None
    place = fields["ask"]
    keys = ASK.open(place, page)
    if keys is None:
        return None
    within = DURATION.at(keys, "within", page)
    if within == 0:
        page.wrong(keys["within"], "within: expected more than 0 s, nobody is that fast")
    act = "act" in keys
    text = TITLE.at(keys, "act" if act else "look", page)
    wanted = ANSWER.at(keys, "answer", page) or "yes"
    _check_company(fields, act, page)
    if text is None or within is None:
        return None
    ask = Ask(act=act, text=text, within=within, wanted=wanted, mark=page.mark(place))
    return _stood_in(ask, place, scope, page)


def _check_company(fields: dict[str, Node], act: bool, page: Page) -> None:
    """Refuse what cannot stand beside a person's word."""
    if not act and "expect" in fields:
        what = "a step that asks for a look has no `expect`: the answer is what is judged"
        page.wrong(fields["expect"], what, "put it into the step before")
    if act and "stimulus" in fields:
        what = "a step that asks for an action has no `stimulus`: the action is one"
        page.wrong(fields["stimulus"], what, "put it into a step of its own")
    expect = fields.get("expect")
    for entry in expect.items if act and isinstance(expect, Seq) else ():
        for word, (key, _) in entry.pairs.items() if isinstance(entry, Map) else ():
            if word in (_TIMED if word in EXPECTATION.keys else _MEASURES):
                what = f"`{word}` does not go with an action: nobody knows when exactly it was done"
                page.wrong(key, what, "within, hold, during or never")


def _stood_in(ask: Ask, place: Node, scope: Scope, page: Page) -> AskText:
    """Let the bench do or look instead, where its file says how; say what it does not know."""
    stand_in = scope.rack.stand_in
    if stand_in is None:
        return AskText(ask=ask)
    known, word = wording(ask.text), "act" if ask.act else "look"
    if ask.act and known in stand_in.acts:
        driven = stand_in.acts[known]
        mark = page.mark(place)
        stimuli = tuple(Stimulus(signal=path, value=value, mark=mark) for path, value in driven)
        signals = scope.signals
        shown = [f"{path} {show_value(value, signals[path])}" for path, value in driven]
        return AskText(ask=replace(ask, by=", ".join(shown)), stimuli=stimuli)
    if not ask.act and known in stand_in.looks:
        seen = stand_in.looks[known]
        if ask.wanted == "no" and not _can_be_denied(seen):
            what = "the bench looks for more than one thing here, or for what has no opposite"
            page.wrong(place, f"{what}, so it cannot answer no", "ask for what is there")
        by = ", ".join(f"{path} {one.wanted}" for one in seen for path in one.signals)
        expectations = tuple(_looked(one, ask) for one in seen)
        return AskText(ask=replace(ask, by=by), expectations=expectations)
    what = f"the operator of this bench has no {word} {show(ask.text)}, so a person is asked"
    page.warn(place, what, nearest(known, stand_in.acts if ask.act else stand_in.looks))
    return AskText(ask=ask)


def _can_be_denied(seen: tuple[Expectation, ...]) -> bool:
    return len(seen) == 1 and isinstance(seen[0].condition, Limits | OneOf)


def _looked(expectation: Expectation, ask: Ask) -> Expectation:
    """Return what the bench must see for the answer that passes, no later than a person."""
    timing = expectation.timing
    within = timing.within
    if within is not None:
        timing = replace(timing, within=Duration(min(within, ask.within)))
    if ask.wanted == "yes" or not isinstance(expectation.condition, Limits | OneOf):
        return replace(expectation, timing=timing, mark=ask.mark)
    return replace(
        expectation,
        condition=Not(condition=expectation.condition),
        wanted=f"anything but {expectation.wanted}",
        timing=timing,
        mark=ask.mark,
    )
