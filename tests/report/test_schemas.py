"""The schemas' rules, held against the verdicts of the schema files themselves.

The verdicts come from validating each document with lxml 6 against JUnit.xsd (Windy Road) and
junit-10.xsd (Jenkins xunit plugin, strict revision): one change at a time against a document that
both accept.
"""

import pytest
from report.schemas import ant_faults, jenkins_faults

BASE = (
    '<testsuites><testsuite name="s" tests="1" failures="0" errors="0" time="0.100" '
    'hostname="h" timestamp="2024-01-02T03:04:05" package="p" id="0"><properties/>'
    '<testcase name="n" classname="c" time="0.1"/><system-out>o</system-out>'
    "<system-err>e</system-err></testsuite></testsuites>"
)
CASE = '<testcase name="n" classname="c" time="0.1"/>'


def with_child(child):
    return (CASE, CASE[:-2] + f">{child}</testcase>")


OUTPUT = "<system-out>o</system-out><system-err>e</system-err>"
SUITE = BASE[len("<testsuites>") : -len("</testsuites>")]

VERDICTS = [  # change: what is replaced by what, ant, jenkins
    ("base document", ("", ""), True, True),
    ("no system-out / system-err", (OUTPUT, ""), False, True),
    ("no properties", ("<properties/>", ""), False, True),
    ("empty testsuites", (SUITE, ""), True, True),
    ("timestamp with Z", ("03:04:05", "03:04:05Z"), False, True),
    ("timestamp with fraction", ("03:04:05", "03:04:05.5"), False, True),
    ("testsuite time 0.1234", ('"0.100"', '"0.1234"'), True, False),
    ("testsuite time 1e-05", ('"0.100"', '"1e-05"'), False, False),
    ("testsuite time 1234.567", ('"0.100"', '"1234.567"'), True, True),
    ("testsuite time 1,234.567", ('"0.100"', '"1,234.567"'), False, True),
    ("testcase time 1e-05", ('"0.1"', '"1e-05"'), False, True),
    ("testcase time 0.123456", ('"0.1"', '"0.123456"'), True, True),
    ("testcase without time", (' time="0.1"', ""), False, True),
    ("testcase without classname", (' classname="c"', ""), False, True),
    ("properties inside testcase", with_child("<properties/>"), False, False),
    ("system-out inside testcase", with_child("<system-out>o</system-out>"), False, True),
    ("testcase with file and line", (' time="0.1"', ' time="0.1" file="f" line="1"'), False, False),
    ("testcase with assertions", (' time="0.1"', ' time="0.1" assertions="1"'), False, False),
    ("failure without type", with_child('<failure message="m"/>'), False, True),
    ("failure with type", with_child('<failure message="m" type="t"/>'), True, True),
    ("skipped with message", with_child('<skipped message="m"/>'), True, True),
    (
        "two failures in one testcase",
        with_child('<failure type="t"/><failure type="t"/>'),
        False,
        True,
    ),
    (
        "failure and error in one testcase",
        with_child('<failure type="t"/><error type="t"/>'),
        False,
        True,
    ),
    (
        "testsuites with name tests failures errors time",
        ("<testsuites>", '<testsuites name="n" tests="1" failures="0" errors="0" time="0.1">'),
        False,
        True,
    ),
    ("testsuites with skipped", ("<testsuites>", '<testsuites skipped="0">'), False, False),
    ("testsuites with timestamp", ("<testsuites>", '<testsuites timestamp="t">'), False, False),
    ("testsuite with skipped count", (' id="0"', ' id="0" skipped="0"'), True, True),
    ("testsuite with disabled count", (' id="0"', ' id="0" disabled="0"'), False, False),
    ("testsuite without hostname", (' hostname="h"', ""), False, True),
    ("testsuite without errors", (' errors="0"', ""), False, False),
    ("nested testsuite", (SUITE, SUITE.replace(CASE, CASE + SUITE)), False, True),
]


@pytest.mark.parametrize(
    ("change", "ant", "jenkins"), [row[1:] for row in VERDICTS], ids=[row[0] for row in VERDICTS]
)
def test_the_rules_agree_with_the_schema_files(change, ant, jenkins):
    document = BASE.replace(*change, 1).encode() if change[0] else BASE.encode()

    assert (ant, jenkins) == (not ant_faults(document), not jenkins_faults(document))


def test_the_rules_agree_with_the_schema_files_when_a_testsuite_is_the_root():
    document = SUITE.replace(' package="p" id="0"', "").encode()

    assert (ant_faults(document), jenkins_faults(document)) == ([], [])
