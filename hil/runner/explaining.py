"""What a wrong value looks like, for the sentence of a failed check."""

from decimal import Decimal

from hil.core.plan import Condition, Limits, OneOf
from hil.core.scene import Explain
from hil.core.signal import Sample, Signal, Validity
from hil.wire.hint import explain_number, explain_value
from hil.wire.rack import Rack


def explainer(rack: Rack) -> Explain:
    """Return the function that looks behind a value: other unit, sign, octet order."""
    nodes = {node.name: node for node in rack.nodes}

    def explain(sample: Sample, condition: Condition, signal: Signal) -> str:
        limits = _wanted(condition)
        if limits is None or sample.validity is Validity.STALE or not sample.raw:
            return ""
        if signal.node not in nodes:
            return ""
        if nodes[signal.node].coap is not None:
            return explain_number(sample.value, signal, limits)
        return explain_value(nodes[signal.node], sample.raw, signal.name, limits)

    return explain


def _wanted(condition: Condition) -> Limits | None:
    """Return the limits that were wanted; one exact number is a window without width."""
    if isinstance(condition, Limits):
        return condition
    if isinstance(condition, OneOf) and len(condition.values) == 1:
        (value,) = condition.values
        if isinstance(value, Decimal):
            return Limits(low=value, high=value, target=value)
    return None
