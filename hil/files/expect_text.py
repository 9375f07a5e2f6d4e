"""The `expect` of a step: each entry by its form.

    signal: …        one signal, or several by themselves      hil.files.expectation_text
    signal: others   everything that the step does not name    hil.files.others_text
    relation: …      an equation between signals               hil.files.relation_text
    agree: …         the same thing in several places          hil.files.agree_text
    traffic: …       how the readings of a node arrive         hil.files.traffic_text
    clock: …         a node's clock, and where time is spent   hil.files.clock_text

The key tells the form.
"""

from collections.abc import Callable, Sequence

from hil.core.instant import Duration
from hil.core.plan import Expectation, Stimulus
from hil.files.agree_text import read_agree
from hil.files.clock_text import read_clock
from hil.files.expectation_text import read_expectation
from hil.files.mistake import Page
from hil.files.others_text import is_others, read_others
from hil.files.relation_text import read_relation_entry
from hil.files.scope import Scope
from hil.files.traffic_text import read_traffic
from hil.files.tree import Map, Node

_FORMS: dict[str, Callable[[Node, Scope, Page], list[Expectation]]] = {
    "agree": read_agree,
    "clock": read_clock,
    "relation": read_relation_entry,
    "traffic": read_traffic,
}


def read_expect(
    entries: Sequence[Node],
    stimuli: Sequence[Stimulus],
    wait: Duration,
    scope: Scope,
    page: Page,
) -> tuple[Expectation, ...]:
    """Return the expectations of one step; `others` come last, for they need to know the rest."""
    found: list[Expectation] = []
    others = [entry for entry in entries if is_others(entry)]
    for entry in entries:
        if not is_others(entry):
            found += _read(entry, wait, scope, page)
    driven = [stimulus.signal for stimulus in stimuli]
    named = [path for expectation in found for path in expectation.signals]
    for entry in others:
        found += read_others(entry, driven, [*driven, *named], scope, page)
    return tuple(found)


def _read(entry: Node, wait: Duration, scope: Scope, page: Page) -> list[Expectation]:
    if isinstance(entry, Map):
        for word, read in _FORMS.items():
            if word in entry.pairs:
                return read(entry, scope, page)
    return read_expectation(entry, scope, page, wait=wait)
