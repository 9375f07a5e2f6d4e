"""What a wrong value looks like, for the sentence of a failed check."""

from hil.core.plan import Condition, Limits
from hil.core.scene import Explain
from hil.core.signal import Sample, Signal, Validity
from hil.wire.hint import explain_value
from hil.wire.rack import Rack


def explainer(rack: Rack) -> Explain:
    """Return the function that looks behind a value: other unit, sign, octet order."""
    nodes = {node.name: node for node in rack.nodes}

    def explain(sample: Sample, condition: Condition, signal: Signal) -> str:
        if not isinstance(condition, Limits) or sample.validity is Validity.STALE:
            return ""
        if not sample.raw or signal.node not in nodes:
            return ""
        return explain_value(nodes[signal.node], sample.raw, signal.name, condition)

    return explain
