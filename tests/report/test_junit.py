"""JUnit XML against both schemas, an independent reader (junitparser) and the field's accidents."""

import contextlib
import locale
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from junitparser import Error, Failure, JUnitXml, Skipped
from report.runs import ABOUT, MISSED, PLAN, begun, case, ended, over, result, started
from report.schemas import ant_faults, jenkins_faults

from hil.core.error import StoreError
from hil.core.event import NodeNoted
from hil.core.instant import Instant
from hil.core.observation import NodeTrouble
from hil.report.junit import SIZE_LIMIT, build_junit, check_junit, class_name, write_junit
from hil.report.tally import fold

EVERY = ("pass", "fail", "unstable", "inconclusive", "error", "skipped", "not run")


def built(*outcomes, **more):
    return build_junit(result(*outcomes, **more), ABOUT)


def single(events):
    return build_junit(fold([*events, *over()]), ABOUT)


@pytest.mark.parametrize("outcomes", [EVERY, ("pass",), ("fail", "fail"), ()])
def test_both_schemas_accept_the_report(outcomes):
    document = built(*outcomes)

    assert (ant_faults(document), jenkins_faults(document)) == ([], [])


def test_an_independent_reader_sees_every_outcome():
    suite = next(iter(JUnitXml.fromstring(built(*EVERY))))

    kinds = [[type(found) for found in case.result] for case in suite]
    assert kinds == [[], [Failure], [Failure], [Error], [Error], [Skipped], [Error]]


def test_the_type_of_a_result_is_the_word_of_the_outcome():
    root = ET.fromstring(built(*EVERY))

    types = [child.get("type") for case in root.iter("testcase") for child in case]
    assert types == ["fail", "unstable", "inconclusive", "error", None, "not run"]


def test_sums_are_those_of_the_elements():
    suite = next(iter(JUnitXml.fromstring(built("pass", "pass", "fail", "error", "skipped"))))

    assert (suite.tests, suite.failures, suite.errors, suite.skipped) == (5, 1, 1, 1)


def test_a_case_with_two_failed_checks_counts_once():
    suite = next(iter(JUnitXml.fromstring(built("fail", reason=MISSED))))

    assert (suite.tests, suite.failures) == (1, 1)


def test_a_report_whose_sums_do_not_fit_is_noticed():
    document = built("pass", "fail").replace(b'failures="1"', b'failures="2"')

    with pytest.raises(ValueError, match="failures does not fit"):
        check_junit(document)


def test_suites_are_flat():
    root = ET.fromstring(built(*EVERY))

    assert {"testsuite"} == {child.tag for child in root}
    assert len(list(root.iter("testcase"))) == len(root.findall("testsuite/testcase"))


@pytest.mark.parametrize(
    ("took", "shown"),
    [
        (0, "0.000000"),
        (100, "0.000000"),
        (160_000_000, "0.160000"),
        (14_029_255_000_000, "14029.255000"),
        (90_000_500_000_000, "90000.500000"),
        (-5, "0.000000"),
    ],
)
def test_times_are_plain_decimals(took, shown):
    document = single([started("a"), *case(0, "a", "pass", took=took)])

    assert shown == ET.fromstring(document).find("*/testcase").get("time")


COMMA = """\
LC_NUMERIC
decimal_point ","
thousands_sep "."
grouping 3;3
END LC_NUMERIC
"""


@pytest.fixture
def comma_locale(tmp_path, monkeypatch):
    """Work in a locale that writes 1.5 as 1,5: one that is installed, else one made here."""
    before = locale.setlocale(locale.LC_ALL)
    for name in ("de_DE.UTF-8", "fr_FR.UTF-8", "es_ES.UTF-8", "it_IT.UTF-8", "ru_RU.UTF-8"):
        with contextlib.suppress(locale.Error):
            locale.setlocale(locale.LC_ALL, name)
            break
    else:
        (tmp_path / "source").write_text(COMMA)
        # Exit code 1 is a warning: all other categories are missing.
        subprocess.run(
            ["localedef", "-c", "-i", "source", "-f", "UTF-8", tmp_path / "comma"],
            cwd=tmp_path,
            capture_output=True,
        )
        monkeypatch.setenv("LOCPATH", str(tmp_path))
        locale.setlocale(locale.LC_NUMERIC, "comma")
    assert f"{1.5:n}" == "1,5"
    yield
    locale.setlocale(locale.LC_ALL, before)


@pytest.mark.usefixtures("comma_locale")
def test_times_are_plain_decimals_where_people_write_a_comma():
    document = single([started("a"), *case(0, "a", "pass", took=14_029_255_000_000)])

    assert ET.fromstring(document).find("*/testcase").get("time") == "14029.255000"
    assert ET.fromstring(document).find("testsuite").get("time") == "14029.255"


def test_a_failure_carries_value_window_and_node_in_message_and_text():
    failure = ET.fromstring(built("fail")).find(".//failure")

    for part in ("louvres.vane-2", "42.10 deg", "45.00 deg ± 1.50 deg", "600 ms"):
        assert part in failure.get("message")
        assert part in failure.text
    assert "31 0a 0b" in failure.text


def test_both_attempts_of_an_unstable_case_are_told():
    failure = ET.fromstring(built("unstable")).find(".//failure")

    assert "passed on attempt 2 only" in failure.get("message")
    assert "attempt 1: fail" in failure.text
    assert "attempt 2: unstable" in failure.text


def test_control_characters_become_visible():
    console = bytes.fromhex("1B 5B 33 31 6D 45 52 52 1B 5B 30 6D 00 07").decode("latin-1")
    failure = ET.fromstring(built("fail", reason=console)).find(".//failure")

    assert failure.get("message") == r"\x1b[31mERR\x1b[0m\x00\x07"
    assert r"\x1b[31mERR\x1b[0m\x00\x07" in failure.text


@settings(max_examples=100, deadline=None)
@given(st.text(st.characters(exclude_categories=()), min_size=1, max_size=40))
def test_any_text_can_be_written_and_read_back(text):
    events = [started(text), *case(0, text, "fail", text)]
    document = single(events)

    assert (ant_faults(document), jenkins_faults(document)) == ([], [])
    assert [r.type for c in next(iter(JUnitXml.fromstring(document))) for r in c.result] == ["fail"]


def test_names_that_differ_in_blanks_stay_apart():
    titles = (
        "A(.)",
        "A( )",
        "A(  )",
        "A(\t)",
        "A(\n)",
        "range [press-1] (1)",
        "range [press-1] (2)",
    )
    events = [started(*titles)]
    for at, title in enumerate(titles):
        events += case(at, title, "pass")
    root = ET.fromstring(single(events))

    assert len(titles) == len({c.get("name") for c in root.iter("testcase")})


def test_two_cases_of_one_name_are_refused():
    events = [started("range", "range"), *case(0, "range", "pass"), *case(1, "range", "pass")]

    with pytest.raises(StoreError, match=r"2 cases of testplans\.louvres bear the name 'range'"):
        single(events)


@pytest.mark.parametrize(
    ("one", "other"),
    [("a.b/c.yaml", "a/b/c.yaml"), ("a/b.c.yaml", "a/b/c.yaml"), ("../a.yaml", "a.yaml")],
)
def test_plan_files_never_share_a_class(one, other):
    assert class_name(one) != class_name(other)


def test_the_class_is_the_path_of_the_plan_file():
    case = ET.fromstring(built("pass")).find("*/testcase")

    assert (case.get("classname"), case.get("name")) == ("testplans.louvres", "case 0")


def test_huge_evidence_is_cut_with_head_tail_and_pointer():
    document = built("fail", reason="first " + "x" * 4_000_000 + " last")
    failure = ET.fromstring(document).find(".//failure")

    assert len(document) < 100_000
    assert len(failure.get("message")) <= 1_000
    assert failure.text.startswith("first ")
    assert "characters left out, all of it is in journal.jsonl beside this file" in failure.text


def test_ten_thousand_failures_stay_below_the_limit():
    document = built(*["fail"] * 10_000)

    assert len(document) < SIZE_LIMIT == 5_000_000
    assert len(ET.fromstring(document).findall("*/testcase/failure")) == 10_000


def test_odd_traffic_is_told_beside_the_cases():
    note = NodeNoted(
        at=Instant(5), node="mast", trouble=NodeTrouble.GARBLED.value, text="26 octets, not 24"
    )
    suite = ET.fromstring(single([started("a"), *case(0, "a", "pass"), note])).find("testsuite")

    assert suite.findtext("system-err") == "mast: garbled: 26 octets, not 24"


def test_the_suite_tells_when_and_where():
    suite = ET.fromstring(built("pass")).find("testsuite")

    assert (
        suite.get("timestamp"),
        suite.get("hostname"),
    ) == ("2026-01-02T03:04:05", "bench-computer")


def test_a_report_without_about_is_still_a_report():
    document = build_junit(result("pass"), None)

    assert (ant_faults(document), jenkins_faults(document)) == ([], [])


def test_a_killed_run_has_results_an_error_and_cases_not_run():
    titles = [f"case {at}" for at in range(5)]
    events = [started(*titles), *case(0, titles[0], "pass"), *case(1, titles[1], "pass")]
    events.append(begun(2, titles[2]))
    cases = ET.fromstring(build_junit(fold(events), ABOUT)).findall("*/testcase")

    shown = [None if not len(c) else (c[0].get("type"), c[0].get("message")) for c in cases]
    assert shown[:2] == [None, None]
    assert shown[2] == ("error", "the run ended here")
    assert [word for word, _ in shown[3:]] == ["not run", "not run"]


def test_each_plan_is_a_suite_whatever_the_order_of_the_run():
    other = "testplans/mast.yaml"
    mixed = replace(
        started("a", "b", "c"),
        plans=(("Louvres", PLAN, ""), ("Mast", other, "")),
        cases=((PLAN, "a"), (other, "b"), (PLAN, "c")),
    )
    events = [mixed, *case(0, "a", "pass"), begun(1, "b", plan=other)]
    events += [ended(1, "b", "pass", plan=other), *case(2, "c", "pass")]
    root = ET.fromstring(single(events))

    names = {s.get("name"): [c.get("name") for c in s.findall("testcase")] for s in root}
    assert names == {"Louvres": ["a", "c"], "Mast": ["b"]}


def test_the_file_is_written_whole_and_read_back(tmp_path):
    path = write_junit(tmp_path, result("pass"), ABOUT)

    assert [found.name for found in tmp_path.iterdir()] == ["junit.xml"]
    check_junit(path.read_bytes())
