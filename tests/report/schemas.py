"""What two public schemas of JUnit-style XML demand, as far as our documents touch it.

ant      JUnit.xsd of Apache Ant's JUnit task, by Windy Road Technology (Apache-2.0),
         github.com/windyroad/JUnit-Schema
jenkins  junit-10.xsd of the Jenkins xunit plugin (MIT), the strict revision

tests/report/test_schemas.py holds both against the verdicts that the schema files themselves
give on one document with one change at a time.
"""

import re

from lxml import etree

DECIMAL = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")  # xs:decimal: no exponent, no grouping
STAMP = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d")  # ISO8601_DATETIME_PATTERN
SECONDS = re.compile(r"(\d+|\d{1,3}(,\d{3})*)(\.\d{1,3})?|(\d*\.\d{1,3})")  # SUREFIRE_TIME
RESULTS = ("skipped", "error", "failure")


def ant_faults(document: bytes) -> list[str]:
    root = etree.fromstring(document)
    inside = root.tag == "testsuites"
    faults = [f"testsuites has {name}" for name in root.attrib] if inside else []
    for suite in root if inside else [root]:
        faults += _ant_suite(suite, inside)
    return faults


def _ant_suite(suite, inside):
    wanted = {"name", "timestamp", "hostname", "tests", "failures", "errors", "time"}
    wanted |= {"package", "id"} if inside else set()
    faults = [f"testsuite lacks {name}" for name in wanted - set(suite.attrib)]
    faults += [f"testsuite has {name}" for name in set(suite.attrib) - wanted - {"skipped"}]
    if not STAMP.fullmatch(suite.get("timestamp", "")):
        faults.append("timestamp")
    faults += _decimal(suite)
    order = "".join(
        {"properties": "p", "testcase": "c", "system-out": "o"}.get(
            c.tag, "e" if c.tag == "system-err" else "?"
        )
        for c in suite
    )
    if not re.fullmatch("pc*oe", order):
        faults.append(f"children of testsuite: {order}")
    for case in suite.findall("testcase"):
        faults += _ant_case(case)
    return faults


def _ant_case(case):
    faults = [f"testcase lacks {n}" for n in {"name", "classname", "time"} - set(case.attrib)]
    faults += [f"testcase has {n}" for n in set(case.attrib) - {"name", "classname", "time"}]
    faults += _decimal(case)
    faults += [f"{child.tag} in testcase" for child in case if child.tag not in RESULTS]
    if len(case) > 1:
        faults.append("more than one result")
    for child in case:
        allowed = {"message"} if child.tag == "skipped" else {"message", "type"}
        faults += [f"{child.tag} has {n}" for n in set(child.attrib) - allowed]
        if child.tag != "skipped" and "type" not in child.attrib:
            faults.append(f"{child.tag} lacks type")
    return faults


def _decimal(element):
    text = element.get("time", "0")
    return [] if DECIMAL.fullmatch(text) else [f"time {text}"]


def jenkins_faults(document: bytes) -> list[str]:
    root = etree.fromstring(document)
    faults = []
    suites = [root]
    if root.tag == "testsuites":
        suites = list(root)
        faults += _only(root, {"name", "time", "tests", "failures", "errors"})
        faults += _seconds(root)
    for suite in suites:
        faults += _jenkins_suite(suite)
    return faults


def _jenkins_suite(suite):
    faults = [
        f"testsuite lacks {n}" for n in {"name", "tests", "failures", "errors"} - set(suite.attrib)
    ]
    extra = {
        "time",
        "skipped",
        "timestamp",
        "hostname",
        "id",
        "package",
        "file",
        "log",
        "url",
        "group",
        "version",
    }
    faults += _only(suite, {"name", "tests", "failures", "errors"} | extra)
    faults += _seconds(suite)
    for child in suite:
        if child.tag == "testsuite":
            faults += _jenkins_suite(child)
        elif child.tag == "testcase":
            faults += _jenkins_case(child)
        elif child.tag not in ("properties", "system-out", "system-err"):
            faults.append(f"{child.tag} in testsuite")
    return faults


def _jenkins_case(case):
    faults = [] if "name" in case.attrib else ["testcase lacks name"]
    faults += _only(case, {"name", "time", "classname", "group"})
    allowed = (
        *RESULTS,
        "system-out",
        "system-err",
        "rerunFailure",
        "rerunError",
        "flakyFailure",
        "flakyError",
    )
    faults += [f"{child.tag} in testcase" for child in case if child.tag not in allowed]
    return faults


def _only(element, allowed):
    return [f"{element.tag} has {name}" for name in set(element.attrib) - allowed]


def _seconds(element):
    text = element.get("time", "0")
    return [] if SECONDS.fullmatch(text) else [f"time {text}"]
