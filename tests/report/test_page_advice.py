"""What to do: the most urgent first, one entry for each node, and the command to type."""

from dataclasses import replace

import pytest
from report.page_run import gathered
from report.runs import ABOUT, begun, ended, over, run, started

from hil.core.event import ActuatorSafe, HostNoted, NodeNoted, RunEnded
from hil.core.instant import Instant
from hil.report.line import plain
from hil.report.page.advice import OF_HOST, OF_NODES, advise
from hil.report.page.again import again, namesakes
from hil.report.page.unknown import unknowns
from hil.report.summary import readiness, summarise
from hil.report.tally import fold

AT = Instant(5)


def entries(events):
    return advise(fold(events), gathered(events), ABOUT)


def noted(trouble, node="louvres"):
    return NodeNoted(at=AT, node=node, trouble=trouble, text=f"{trouble} was seen")


def test_a_rack_that_is_ready_needs_nothing():
    assert entries(run("pass", "skipped")) == []


def test_a_node_that_failed_has_its_counts_its_reason_and_the_command():
    (one,) = entries(run("pass", "fail", "fail"))

    assert one.who == "louvres"
    assert [(outcome.word, count) for outcome, count in one.counts] == [("fail", 2)]
    assert "42.10 deg" in one.why
    assert one.case == 1
    assert one.command.endswith("--only 'case 1'")


def test_what_is_not_safe_comes_before_everything_else():
    left = ActuatorSafe(at=AT, signal="circulator.duty", value="0 %", confirmed=False)
    events = [
        *run("fail", safe=False)[:-2],
        left,
        RunEnded(at=AT, outcome="fail", counts={}, aborted="", safe=False),
    ]
    first, *_ = entries(events)

    assert first.who == "NOT SAFE"
    assert "circulator.duty" in first.why


@pytest.mark.parametrize("trouble", sorted(OF_NODES.keys() - {"reboot"}))
def test_every_trouble_of_a_node_has_something_to_do(trouble):
    (one,) = entries([*run("fail"), noted(trouble)])

    assert OF_NODES[trouble] in one.steps


@pytest.mark.parametrize("trouble", OF_HOST)
def test_every_trouble_of_the_bench_has_something_to_do(trouble):
    note = HostNoted(at=AT, trouble=trouble, amount=1, text="it was so")
    first, *_ = entries([note, *run("inconclusive")])

    assert (first.who, first.steps) == ("bench", (OF_HOST[trouble],))


def test_a_reboot_that_was_asked_for_is_no_trouble():
    (one,) = entries([*run("fail"), noted("reboot")])

    assert OF_NODES["reboot"] not in one.steps


def test_a_reboot_that_failed_a_case_is():
    events = [
        started("case 0"),
        begun(0, "case 0"),
        noted("reboot"),
        ended(0, "case 0", "fail", "case 0: louvres rebooted 3 ms in", blamed=("louvres",)),
        *over(),
    ]
    (one,) = entries(events)

    assert OF_NODES["reboot"] in one.steps


def test_a_node_that_is_missing_is_told_though_nothing_ran():
    aborted = RunEnded(at=AT, outcome="not run", counts={}, aborted="mast: no reading", safe=False)
    found = entries([started("case 0"), noted("absent", "mast"), aborted])

    assert [one.who for one in found] == ["the run", "mast"]
    assert OF_NODES["absent"] in found[1].steps


def test_a_killed_run_is_told_with_what_is_missing():
    (one,) = entries([started("case 0", "case 1")])

    assert "killed" in one.why
    assert "2 cases did not run" in one.why


def test_the_command_repeats_a_proof_by_the_command_for_proofs():
    about = replace(ABOUT, command=("hil", "alarms", "prove", "fixtures/a.yaml"))
    case = fold(run("fail")).cases[0]

    assert again(case, fold(run("fail")), about).startswith("hil alarms prove testplans/")


def test_the_number_that_repeat_gave_a_title_is_left_out():
    about = replace(ABOUT, command=("hil", "run", "--repeat", "3"))
    result = fold(run("fail"))
    case = replace_title(result.cases[0], "a vane turns (2)")

    assert again(case, result, about).endswith("--only 'a vane turns'")
    assert again(case, result, ABOUT).endswith("--only 'a vane turns (2)'")


def test_a_quote_in_a_title_survives_the_shell():
    result = fold(run("fail"))
    case = replace_title(result.cases[0], "the node's lamp; rm -rf")

    assert again(case, result, None).endswith("""--only 'the node'"'"'s lamp; rm -rf'""")


def test_cases_that_the_command_runs_as_well_are_counted():
    result = fold(run(*["pass"] * 12))

    assert namesakes(result.cases[1], result, ABOUT) == 2  # case 1, and case 10 and 11 with it


def replace_title(case, title):
    case.title = title
    return case


def sentences(events, unreadable=0):
    return " / ".join(unknowns(fold(events), gathered(events), unreadable))


def test_what_is_not_known_is_said():
    note = HostNoted(at=AT, trouble="host late", amount=60, text="the bench was 60 ms late")
    said = sentences(
        [*run("pass", "inconclusive", "skipped", "not run"), note, noted("garbled")], 3
    )

    for part in (
        "3 lines of the journal could not be read",
        "1 case did not run",
        "1 case skipped",
        "1 case inconclusive",
        "the bench was 60 ms late",
        "louvres: garbled datagrams were noted once",
        "louvres.vane-2.position 10 ms",
        "software models answered",
    ):
        assert part in said


def test_stamps_taken_late_are_said():
    real = [replace(started("case 0"), virtual=False, stamps="read time"), *run("pass")[1:]]

    assert "stamped when the program read them" in sentences(real)


def test_kernel_stamps_on_a_real_rack_leave_nothing_to_say_about_them():
    real = [replace(started("case 0"), virtual=False, stamps="kernel"), *run("pass")[1:]]

    assert "stamp" not in sentences(real)
    assert "software" not in sentences(real)


@pytest.mark.parametrize("heard", ["port closed", "garbled", "answer from another address"])
def test_who_was_heard_at_all_needs_no_look_at_its_plug(heard):
    events = [started("a"), noted("absent"), noted(heard), *over()]
    (one,) = [entry for entry in entries(events) if entry.who == "louvres"]

    assert OF_NODES[heard] in one.steps
    assert OF_NODES["absent"] not in one.steps


def test_the_headline_names_who_was_not_there():
    ends = RunEnded(at=AT, outcome="error", counts={}, aborted="x" * 300, safe=True)
    result = fold([started("a"), noted("absent"), noted("absent", "beacon"), ends])

    assert readiness(result) == "NOT READY: 1 of 1 not run; no word from beacon, louvres"
    assert "x" * 300 in plain(summarise(result))


def test_the_headline_tells_who_said_nothing_from_who_could_not_be_understood():
    ends = RunEnded(at=AT, outcome="error", counts={}, aborted="too few nodes", safe=True)
    silent = [noted("absent"), noted("absent", "beacon"), noted("garbled", "beacon")]
    result = fold([started("a"), *silent, ends])

    assert readiness(result) == (
        "NOT READY: 1 of 1 not run; no word from louvres; nothing to be used from beacon"
    )


@pytest.mark.parametrize(("outcome", "who"), [("fail", "some node"), ("inconclusive", "bench")])
def test_page_and_terminal_name_the_same_one_where_no_node_is_known(outcome, who):
    events = [started("a"), begun(0, "a"), ended(0, "a", outcome, "the disc is not green"), *over()]
    (one,) = entries(events)

    assert one.who == who
    assert f"{who}: 1 " in readiness(fold(events))
