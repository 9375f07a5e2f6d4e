"""Alarm specs as cases of a run: read, checked against the bench, one case for every property.

What could be wrong is found before anything moves: mistakes in the file, errors of its review,
an input that nothing can drive.
"""

import hashlib
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from hil.alarms.proof.prove import REPEATS, proof_case, proof_jobs
from hil.alarms.proof.station import obstacle
from hil.alarms.spec import Spec
from hil.core.error import DescriptionError, Mark, Mistake
from hil.core.plan import Plan
from hil.files.read import read_alarms, read_rack_for
from hil.runner.options import Options
from hil.runner.run import Read
from hil.runner.selection import Selection, select
from hil.wire.rack import Rack


def proofs(repeats: int = REPEATS) -> Read:
    """Return what reads alarm spec files as plans; each point is searched so often."""
    return partial(read_proofs, repeats=repeats)


def read_proofs(options: Options, repeats: int = REPEATS) -> tuple[Rack, Selection]:
    """Read bench and alarm specs and choose the properties.  Raises DescriptionError."""
    rack = read_rack_for(options.bench, options.plans)
    plans: list[Plan] = []
    mistakes: list[Mistake] = []
    for file in dict.fromkeys(options.plans):
        try:
            plans.append(proof_plan(file, read_alarms(file, rack), rack, repeats))
        except DescriptionError as error:
            mistakes += error.mistakes
    if mistakes:
        raise DescriptionError(sorted(mistakes))
    return rack, select(plans, options)


def proof_plan(file: str, specs: Sequence[Spec], rack: Rack, repeats: int = REPEATS) -> Plan:
    """Return the proof of the specs of one file.  Raises DescriptionError where it cannot be."""
    signals = rack.signals()
    hindered = [(spec, obstacle(spec, signals)) for spec in specs]
    mistakes = [
        Mistake(spec.mark, f"{spec.name} cannot be proven here: {why}", _hint(why))
        for spec, why in hindered
        if why
    ]
    if not specs:
        mistakes.append(Mistake(Mark(file), "there is no spec in this file"))
    if mistakes:
        raise DescriptionError(mistakes)
    title = f"Proof of {Path(file).stem}"
    jobs = [job for spec in specs for job in proof_jobs(spec, signals, repeats)]
    return Plan(
        title=title,
        file=file,
        digest=hashlib.sha256(Path(file).read_bytes()).hexdigest(),
        cases=tuple(proof_case(job, title) for job in jobs),
    )


def _hint(why: str) -> str:
    return "provoke: {driven-by: ...}" if "cannot be driven" in why else ""
