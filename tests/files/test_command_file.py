"""`commands` of a bench file: signals that programs drive, and everything that can be wrong."""

import re
from pathlib import Path

import pytest
from files.probes import BENCH, bench, bench_mistakes, cases, mistakes, plan_text

from hil.core.error import DescriptionError
from hil.core.signal import Kind
from hil.files.read import read_plan, read_rack

ROOT = Path(__file__).parents[2]
POWER = """\
commands:
  probe.power:
    values:
      run: [./outlet, "3", "on"]
      "off": [./outlet, "3", "off"]
      restart: [./outlet, "3", cycle]
    safe: run
    within: 10 s
  probe.image:
    text: [./flash, "--file={value}", "{value}"]
    stays: yes
    within: 2 min
    restarts: []
  rack.supply:
    values: {run: [supply, "on"], "off": [supply, "off"]}
    safe: run
    rest: run
    within: 5 s
    back-within: 30 s
"""


@pytest.fixture(scope="module")
def powered(tmp_path_factory):
    return bench(tmp_path_factory.mktemp("bench"), BENCH + POWER)


def test_programs_make_signals_that_plans_can_drive(powered):
    power, image, supply = (
        powered.signals()[path] for path in ("probe.power", "probe.image", "rack.supply")
    )

    assert (power.kind, power.labels, power.sensed) == (
        Kind.LABEL,
        ("run", "off", "restart"),
        False,
    )
    assert (power.drive.safe, power.drive.rest, power.drive.actuator) == ("run", "run", False)
    assert (power.drive.program.within, power.drive.program.restarts) == (10 * 10**9, ("probe",))
    assert (image.kind, image.drive.program.stays) == (Kind.TEXT, True)
    assert image.drive.program.restarts == ()
    assert supply.drive.program.restarts == ("probe", "slow")
    assert supply.drive.program.back_within == 30 * 10**9


def test_a_text_is_put_into_arguments_and_nothing_is_split_or_expanded(powered):
    image = powered.programs["probe.image"]
    odd = "a b; $HOME `x` {value}"

    assert image.declared(odd) == ("./flash", "--file={value}", "{value}")
    assert image.filled(odd) == ["./flash", f"--file={odd}", odd]


def test_a_case_that_switches_power_expects_its_nodes_to_reboot(tmp_path, powered):
    text = plan_text(
        "- stimulus: {rack.supply: off}\n"
        "- stimulus: {rack.supply: run, probe.power: run}\n"
        "  expect: [{signal: probe.lamp, value: red, within: 5 s}]"
    )
    (one,) = cases(tmp_path, powered, text)

    assert one.reboots == ("probe", "slow")
    assert [each.value for step in one.steps for each in step.stimuli] == ["off", "run", "run"]


@pytest.mark.parametrize(
    ("stimulus", "wanted"),
    [
        ("probe.power: rum", "5:33: probe.power: the bench has no program for `rum` | try: run"),
        ("rack.power: run", "5:20: there is no signal `rack.power` on this bench"),
    ],
)
def test_a_value_without_a_program_is_a_mistake_of_the_plan(tmp_path, powered, stimulus, wanted):
    text = plan_text(
        f"- stimulus: {{{stimulus}}}\n  expect: [{{signal: probe.lamp, value: red, within: 5 s}}]"
    )

    assert any(each.startswith(wanted) for each in mistakes(tmp_path, powered, text))


def test_what_only_programs_drive_cannot_be_expected(tmp_path, powered):
    text = plan_text("- expect: [{signal: probe.power, value: run, within: 1 s}]")
    (found,) = mistakes(tmp_path, powered, text)

    assert "probe.power is in no reading of its node, so nobody can see it" in found


def test_a_signal_that_the_node_reports_stays_one(tmp_path):
    rack = bench(
        tmp_path,
        BENCH
        + 'commands: {probe.lamp: {values: {"on": [a], "off": [b]}, safe: "off", within: 1 s}}',
    )
    lamp = rack.signals()["probe.lamp"]

    assert (lamp.sensed, lamp.labels) == (True, ("off", "on", "no", "red"))
    assert lamp.drive.program.labels == ("on", "off")


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("prob.power: {}", ["there is no node `prob` on this bench | try: probe"]),
        ("power: {values: {a: [b]}, stays: yes, within: 1 s}", ["`power` is no signal"]),
        (
            "probe.power: {values: {run: [a]}}",
            ["a command lacks the key `within`", "a command needs one of `safe` or `stays`"],
        ),
        (
            "probe.power: {values: {run: [a]}, safe: ron, within: 1 s}",
            ["safe: `ron` is not among the values, expected one of `run` | try: run"],
        ),
        (
            "probe.power: {values: {run: []}, safe: run, within: 0 s}",
            ["expected an argument list", "within: expected more than 0 s"],
        ),
        (
            "probe.image: {text: [./flash], stays: yes, within: 1 s}",
            ["text: no argument has `{value}`"],
        ),
        (
            "probe.power: {values: {run: [a]}, text: [b], safe: run, within: 1 s}",
            ["a command has `values` and `text`, expected exactly one of them"],
        ),
        (
            "probe.power: {values: {run: [a]}, safe: run, stays: yes, within: 1 s}",
            ["a command has `safe` and `stays`, expected exactly one of them"],
        ),
        (
            "probe.power: {values: {run: [a]}, safe: run, within: 1 s, restarts: [prob]}",
            ["there is no node `prob` on this bench | try: probe"],
        ),
        (
            "probe.pressure: {values: {run: [a]}, safe: run, within: 1 s}",
            ["probe.pressure is a number to its node"],
        ),
        (
            "probe.lamp: {values: {blue: [a]}, safe: blue, within: 1 s}",
            ["`blue` is no label of probe.lamp"],
        ),
        ("probe.power: {values: {run: run.sh on}, safe: run, within: 1 s}", ["argument list"]),
        ("probe.power: {values: {run: [a]}, stays: no, within: 1 s}", ["stays: `no` says nothing"]),
    ],
)
def test_everything_wrong_with_a_command_is_told(tmp_path, text, wanted):
    found = bench_mistakes(tmp_path, BENCH[-20:], f"{BENCH[-20:]}commands: {{{text}}}\n")

    for words in wanted:
        assert any(words in each for each in found), found


def glasshouse(text):
    plain = (ROOT / "fixtures" / "glasshouse.yaml").read_text("utf-8")
    return plain + text


def test_with_software_no_program_is_kept_and_the_node_s_own_drive_counts(tmp_path):
    file = tmp_path / "glasshouse.yaml"
    text = (
        "commands: {feedline.power: {values: {run: [a], restart: [b]}, safe: run, within: 1 s}}\n"
    )
    file.write_text(glasshouse(text), encoding="utf-8")
    rack = read_rack(file)

    assert rack.programs == {}
    assert rack.signals()["feedline.power"].drive.program is None


def test_with_software_a_command_needs_a_drive_of_the_node(tmp_path):
    text = "commands: {rack.supply: {values: {run: [a]}, safe: run, within: 1 s}}\n"
    file = tmp_path / "glasshouse.yaml"
    file.write_text(glasshouse(text), encoding="utf-8")

    with pytest.raises(DescriptionError, match="with `software` no program is run"):
        read_rack(file)


def test_the_same_plan_runs_where_an_outlet_does_what_the_software_is_told(tmp_path):
    """The restarts of the demo's own plan, on the bench file as the reference says to change it."""
    plain = (ROOT / "fixtures" / "glasshouse.yaml").read_text("utf-8")
    example = re.search(
        r"```text\n(commands:.*?)```", (ROOT / "fixtures" / "README.md").read_text("utf-8"), re.S
    )
    assert example is not None
    file = tmp_path / "real.yaml"
    file.write_text(plain[: plain.index("\nsoftware:\n")] + "\n" + example[1], encoding="utf-8")
    rack = read_rack(file)
    plan = read_plan(ROOT / "testplans" / "13-restarts.yaml", rack)

    assert rack.software is None
    assert rack.signals()["feedline.power"].drive.program.labels == ("run", "restart")
    assert len(plan.cases) >= 5
