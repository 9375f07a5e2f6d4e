"""The formats as JSON Schema (draft 2020-12), from the same shapes the reader checks with.

An editor that knows YAML 1.2 completes keys and underlines mistakes with it.  What needs a bench
to be decided (signals, units, ranges) only the reader can check.
"""

from hil.files.alarm_shape import ALARMS
from hil.files.bench_shape import BENCH
from hil.files.known_shape import KNOWN
from hil.files.plan_shape import PLAN
from hil.files.shape import JsonSchema, Record

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def bench_schema() -> JsonSchema:
    """Return the JSON Schema of a bench file."""
    return _headed(BENCH, "bench file")


def plan_schema() -> JsonSchema:
    """Return the JSON Schema of a plan file."""
    return _headed(PLAN, "plan file")


def alarms_schema() -> JsonSchema:
    """Return the JSON Schema of an alarm spec file."""
    return _headed(ALARMS, "alarm spec file")


def known_schema() -> JsonSchema:
    """Return the JSON Schema of a file of known faults."""
    return _headed(KNOWN, "file of known faults")


def _headed(record: Record, title: str) -> JsonSchema:
    return {"$schema": DRAFT, "title": title, **record.schema()}
