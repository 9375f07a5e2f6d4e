"""The review of an alarm spec on paper: every part of it by a module of its own."""

from collections.abc import Mapping

from hil.alarms.finding import Finding, accept
from hil.alarms.review import band, cue, dead_band, delay, display, hue, practice
from hil.alarms.review.scope import Scope
from hil.alarms.spec import Spec
from hil.core.instant import Duration
from hil.core.signal import Signal

_PARTS = (band, dead_band, delay, display, hue, cue, practice)


def review(
    spec: Spec,
    signal: Signal,
    signals: Mapping[str, Signal] | None = None,
    carry: Duration | None = None,
) -> tuple[Finding, ...]:
    """Return every finding about a spec, in the order of its file, the accepted ones marked.

    `signal` is the declaration of the input, `signals` of the indicators; `carry` is the longest
    time the bus takes to carry a change from one node to another, where it is known.
    """
    scope = Scope(spec, signal, signals or {}, carry)
    findings = [finding for part in _PARTS for finding in part.findings(scope)]
    findings.sort(key=lambda one: (one.mark, one.code))
    return accept(findings, spec.accepted)
