"""JUnit XML for build servers, made from a journal.

The tree comes from junit-xml; what its documents lack is mended here, so that both public schemas
(Ant's, and the strict one of the xunit plugin) and readers that count for themselves agree:

    testsuites                 no attributes
    └── testsuite              one per plan file, never nested
        ├── properties         run, bench, tool, plan digest, result of the run
        ├── testcase           class = path of the plan file, name = title of the case
        │   └── one of         nothing · failure · error · skipped
        ├── system-out         where the evidence is
        └── system-err         what was odd about nodes and host

    outcome                        child      type
    pass                           none
    fail, unstable                 failure    the outcome's word
    inconclusive, error, not run   error      the outcome's word
    skipped                        skipped    (the schemas allow none)

Sums are counted from the finished elements, times are plain decimals, every character that XML
1.0 forbids is made visible, (class, name) pairs are unique or the report is refused.
"""

import re
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path, PurePath
from xml.sax.saxutils import escape, quoteattr

from hil.core.collecting import no_collection
from hil.core.error import StoreError
from hil.core.verdict import Outcome
from hil.report import journal
from hil.report.about import About
from hil.report.result import CaseResult, PlanResult, RunResult
from hil.report.store import write_whole
from hil.report.story import case_lines, seconds
from hil.report.visible import shorten, visible_line, visible_text

NAME = "junit.xml"
SIZE_LIMIT = 5_000_000
"""What a report stays below, in bytes; only a run of tens of thousands of failures exceeds it."""

CHILD = {
    Outcome.FAIL: "failure",
    Outcome.UNSTABLE: "failure",
    Outcome.INCONCLUSIVE: "error",
    Outcome.ERROR: "error",
    Outcome.NOT_RUN: "error",
    Outcome.SKIPPED: "skipped",
    Outcome.KNOWN: "skipped",
}
"""The result child of a testcase; a pass has none."""

_POINTER = f"all of it is in {journal.NAME} beside this file"


@dataclass(frozen=True, slots=True)
class _Caps:
    """How much text one case may have, in characters."""

    message: int = 1_000
    text: int = 16_000


def write_junit(folder: Path, result: RunResult, about: About | None) -> Path:
    """Write `junit.xml` into a run's folder.  Raises StoreError; an old file then stays."""
    with no_collection():
        write_whole(folder / NAME, build_junit(result, about), check_junit)
    return folder / NAME


def build_junit(result: RunResult, about: About | None) -> bytes:
    """Build the document; texts are cut further until it fits SIZE_LIMIT.

    Raises StoreError where two cases would bear the same class and name.
    """
    _refuse_repeats(result)
    caps = _Caps()
    while True:
        document = _serialise(_tree(result, about, caps))
        if len(document) <= SIZE_LIMIT or caps.message <= 80:
            return document
        caps = _Caps(max(80, caps.message // 2), caps.text // 4 if caps.text > 100 else 0)


def check_junit(document: bytes) -> None:
    """Read a finished document back and count it again.  Raises ValueError."""
    try:
        root = ET.fromstring(document)
    except ET.ParseError as error:
        raise ValueError(f"it does not read back as XML: {error}") from error
    for suite in root:
        cases = suite.findall("testcase")
        found = {"tests": len(cases)} | {
            counter: sum(case.find(child) is not None for case in cases)
            for counter, child in (("failures", "failure"), ("errors", "error"))
        }
        for counter, count in found.items():
            if suite.get(counter) != str(count):
                raise ValueError(f"{suite.get('name')}: {counter} does not fit the elements")


@lru_cache(maxsize=1024)
def class_name(file: str) -> str:
    """Return the class under which the cases of a plan file are shown, a path with dots.

    A dot within a name is written %2E, so that no two files share a class.

    >>> class_name("testplans/feed-line.yaml"), class_name("show/v1.2/mast.yaml")
    ('testplans.feed-line', 'show.v1%2E2.mast')
    """
    path = PurePath(file)
    parts = [part for part in path.with_suffix("").parts if part != path.anchor]
    shown = (part.replace("%", "%25").replace(".", "%2E") for part in parts)
    return visible_line(".".join(shown)) or "plan"


def _refuse_repeats(result: RunResult) -> None:
    keys = Counter(
        (class_name(case.plan), visible_line(case.title))
        for plan in result.plans
        for case in plan.cases
    )
    for (plan, title), count in keys.items():
        if count > 1:
            raise StoreError(
                f"{NAME} was not written: {count} cases of {plan} bear the name {title!r}"
            )


def _tree(result: RunResult, about: About | None, caps: _Caps) -> ET.Element:
    root = ET.Element("testsuites")
    known = _known_of(result, about)
    for number, plan in enumerate(result.plans):
        root.append(_suite(plan, number, result, about, caps, known))
    return root


def _suite(
    plan: PlanResult,
    number: int,
    result: RunResult,
    about: About | None,
    caps: _Caps,
    known: dict[str, str],
) -> ET.Element:
    from junit_xml import TestSuite

    package = class_name(plan.file)
    suite = TestSuite(
        visible_line(plan.title) or package,
        [_case(case, package, caps) for case in plan.cases],
        hostname=visible_line(about.host if about else "") or "unknown",
        id=str(number),
        package=package,
        timestamp=_timestamp(plan, about),
        properties=_properties(plan, result) | known,
        stdout=_evidence(about),
        stderr=_oddities(result) if number == 0 else "-",
    )
    element: ET.Element = suite.build_xml_doc()
    _mend(element, plan)
    return element


def _case(case: CaseResult, package: str, caps: _Caps) -> object:
    from junit_xml import TestCase

    built = TestCase(visible_line(case.title) or "(no title)", classname=package)
    child = CHILD.get(case.outcome)
    if child is None:
        return built
    message = _message(case, caps.message)
    text = shorten(visible_text("\n".join(case_lines(case))), caps.text, _POINTER)
    if child == "skipped":
        built.add_skipped_info(message=message)
    elif child == "failure":
        built.add_failure_info(message, text, case.outcome.word)
    else:
        built.add_error_info(message, text, case.outcome.word)
    return built


def _message(case: CaseResult, limit: int) -> str:
    first, *more = case.reasons or (case.outcome.word,)
    line = visible_line(first) or case.outcome.word
    tail = f" (and {len(more)} more)" if more else ""
    kept = limit - len(tail)
    return f"{line}{tail}" if len(line) <= kept else f"{line[: kept - 1]}…{tail}"


def _mend(suite: ET.Element, plan: PlanResult) -> None:
    """Make what junit-xml built fit both schemas, and count it again."""
    del suite.attrib["disabled"]
    cases = suite.findall("testcase")
    for element, case in zip(cases, plan.cases, strict=True):
        element.set("time", seconds(case.took, 6))
        skipped = element.find("skipped")
        if skipped is not None:
            del skipped.attrib["type"]
    for counter, child in (("failures", "failure"), ("errors", "error"), ("skipped", "skipped")):
        suite.set(counter, str(sum(case.find(child) is not None for case in cases)))
    suite.set("tests", str(len(cases)))
    suite.set("time", seconds(sum(case.took for case in plan.cases), 3))
    order = {"properties": 0, "testcase": 1, "system-out": 2, "system-err": 3}
    suite[:] = sorted(suite, key=lambda child: order[child.tag])


def _timestamp(plan: PlanResult, about: About | None) -> str:
    began = [a.began for case in plan.cases for a in case.attempts if a.began is not None]
    start = datetime.fromisoformat(about.started) if about else datetime(1970, 1, 1, tzinfo=UTC)
    start += timedelta(microseconds=min(began, default=0) // 1_000)
    return f"{start.astimezone(UTC):%Y-%m-%dT%H:%M:%S}"


def _properties(plan: PlanResult, result: RunResult) -> dict[str, str]:
    shown = {"plan": plan.file}
    if result.started is not None:
        digests = {file: digest for _, file, digest in result.started.plans}
        shown["plan-sha256"] = digests.get(plan.file, "unknown")
    return {name: visible_line(value) for name, value in shown.items()}


def _known_of(result: RunResult, about: About | None) -> dict[str, str]:
    """Return the properties that all plans of a run share."""
    started, ended = result.started, result.ended
    shown = {"result": result.outcome().word}
    if started is not None:
        shown |= {
            "bench": started.bench,
            "bench-file": started.bench_file,
            "bench-sha256": started.bench_digest,
            "virtual": "yes" if started.virtual else "no",
            "stamps": started.stamps,
            "tool": started.tool,
        }
    if about is not None:
        shown |= {"run": about.run, "python": about.python}
    if ended is not None:
        shown |= {"safe": "yes" if ended.safe else "no", "aborted": ended.aborted or "no"}
    return {name: visible_line(value) for name, value in shown.items()}


def _evidence(about: About | None) -> str:
    run = f"run {about.run}: " if about else ""
    return visible_text(f"{run}every datagram, command and check is in {journal.NAME}\n")


def _oddities(result: RunResult) -> str:
    lines = [f"{note.node}: {note.trouble}: {note.text}" for note in result.node_notes]
    lines += [f"bench: {note.trouble}: {note.text}" for note in result.host_notes]
    lines += [
        f"not seen at its safe value: {actuator.signal} ({actuator.value}): {actuator.text}"
        for actuator in result.actuators
        if not actuator.confirmed
    ]
    lines += [one.remark for one in result.known if one.remark]
    text = "\n".join(visible_line(line) for line in lines)
    return shorten(text, 16_000, _POINTER) or "nothing odd"


def _serialise(root: ET.Element) -> bytes:
    """Return the document, each element on a line of its own.

    The library's own serialiser takes twice as long: it looks for namespaces, of which there are
    none here.
    """
    lines = ["<?xml version='1.0' encoding='utf-8'?>"]
    _add_lines(root, "", lines)
    return ("\n".join(lines) + "\n").encode("utf-8")


def _add_lines(element: ET.Element, indent: str, lines: list[str]) -> None:
    given = "".join([f' {name}="{_quoted(text)}"' for name, text in element.items()])
    if len(element):
        lines.append(f"{indent}<{element.tag}{given}>")
        for child in element:
            _add_lines(child, f"{indent}  ", lines)
        lines.append(f"{indent}</{element.tag}>")
    elif element.text:
        lines.append(f"{indent}<{element.tag}{given}>{_escaped(element.text)}</{element.tag}>")
    else:
        lines.append(f"{indent}<{element.tag}{given} />")


_MARKUP = re.compile(r'[&<>"\t\n\r]')


def _quoted(text: str) -> str:
    """Return a text as the value of an attribute; most have nothing that needs an escape."""
    return quoteattr(text, {'"': "&quot;"})[1:-1] if _MARKUP.search(text) else text


def _escaped(text: str) -> str:
    return escape(text).replace("\r", "&#13;")
