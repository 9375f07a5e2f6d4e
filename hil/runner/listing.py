"""What would run, on which nodes, with which limits; nothing is opened or moved."""

from collections.abc import Iterator

from hil.core.count import counted
from hil.core.instant import show_duration
from hil.core.plan import Case, Expectation
from hil.core.signal import show_value
from hil.runner.selection import Selection, nodes_used
from hil.wire.rack import Rack


def list_cases(rack: Rack, selection: Selection) -> Iterator[str]:
    """Yield the lines of the listing."""
    used = nodes_used(rack, selection.cases)
    addresses = {node.name: str(node.address) for node in rack.nodes}
    plans = ", ".join(plan.title for plan in selection.plans)
    yield f"{counted(len(selection.cases), 'case')} on {rack.name}: {plans}"
    yield from (f"    {name} at {addresses[name]}" for name in used)
    plan = ""
    for file, case in zip(selection.files, selection.cases, strict=True):
        if file != plan:
            plan = file
            yield ""
            yield f"{case.plan} ({file})"
        yield from _case(rack, case)


def _case(rack: Rack, case: Case) -> Iterator[str]:
    marks = ", ".join([*case.requirements, *case.tags])
    yield f"  {case.title}" + (f"  ({marks})" if marks else "")
    if case.skip:
        yield f"      skipped: {case.skip}"
        return
    yield f"      nodes   {', '.join(nodes_used(rack, [case]))}"
    for expectation in case.precondition:
        yield f"      first   {_expectation(expectation)}"
    signals = rack.signals()
    for step in case.steps:
        if step.wait:
            yield f"      wait    {show_duration(step.wait)}"
        if step.ask is not None:
            who = f"the bench: {step.ask.by}" if step.ask.by else "a person"
            yield f"      ask     {step.ask.text} ({who}, within {show_duration(step.ask.within)})"
        for stimulus in step.stimuli:
            shown = show_value(stimulus.value, signals[stimulus.signal])
            yield f"      drive   {stimulus.signal} to {shown}"
        for expectation in step.expectations:
            yield f"      expect  {_expectation(expectation)}"


def _expectation(expectation: Expectation) -> str:
    return f"{', '.join(expectation.signals)}: {expectation.wanted} {expectation.when}"
