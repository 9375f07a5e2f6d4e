"""The `relay` of a bench file and the `disturb` and `together` of a plan: read, or refused."""

from decimal import Decimal
from pathlib import Path

import pytest

from hil.bus.disturb import Disturb
from hil.bus.together import Together
from hil.core.error import DescriptionError
from hil.core.instant import MILLISECOND, SECOND
from hil.files.read import read_plan, read_rack
from hil.wire.disturbance import Disturbance, RelayScript, Way
from hil.wire.rack import Address

ROOT = Path(__file__).parents[2]
NODE = (ROOT / "fixtures" / "first-node.yaml").read_text("utf-8")
PLAN = """\
plan: P
cases:
  - case: c
    steps:
      - @
      - stimulus: {feedline.pressure: 4.8 bar}
        expect: [{signal: feedline.pressure, value: 4.8 bar, within: 1 s}]
"""


@pytest.fixture
def bench(tmp_path):
    def go(relay):
        file = tmp_path / "bench.yaml"
        file.write_text(NODE + f"\nrelay: {relay}\n" if relay else NODE, encoding="utf-8")
        return read_rack(file)

    return go


@pytest.fixture
def jobs(tmp_path):
    def go(rack, step):
        file = tmp_path / "plan.yaml"
        file.write_text(PLAN.replace("@", step), encoding="utf-8")
        return [step.job for case in read_plan(file, rack).cases for step in case.steps]

    return go


def test_a_script_is_read(bench):
    relay = bench(
        "{seed: 7, script: [{node: feedline, way: to-node, delay: 20 ms, jitter: 1 ms, loss: 5 %,"
        " duplicate: 0.5, reorder: 1 %, corrupt: 2 %, truncate: 3 %, rate: 100 kbit/s, begin: 1 s,"
        " end: 2 s}], behind: {feedline: 127.0.0.2:47801}}"
    ).relay

    assert relay == RelayScript(
        seed=7,
        script=(
            Disturbance(
                nodes=("feedline",),
                ways=(Way.TO_NODE,),
                delay=20 * MILLISECOND,
                jitter=MILLISECOND,
                loss=Decimal("0.05"),
                duplicate=Decimal("0.5"),
                reorder=Decimal("0.01"),
                held=20 * MILLISECOND,
                corrupt=Decimal("0.02"),
                truncate=Decimal("0.03"),
                rate=100_000,
                begin=SECOND,
                end=2 * SECOND,
            ),
        ),
        behind={"feedline": Address("127.0.0.2", 47_801)},
    )


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ("loss: 101 %", "loss: a part of all datagrams lies from 0 % to 100 %"),
        ("loss: -1 %", "loss: a part of all datagrams"),
        ("rate: 0 bit/s", "rate: expected 8 bit/s to 1 Gbit/s"),
        ("rate: 100 Gbit/s", "rate: expected 8 bit/s to 1 Gbit/s"),
        ("rate: 5 m", "rate: `5 m` does not fit"),
        ("rate: 5", "rate: `5` has no unit"),
        ("delay: 5", "delay: `5` has no unit"),
        ("node: feedlin", "there is no node `feedlin` on this bench"),
        ("node: {a: b}", "expected a list of nodes, got a mapping"),
        ("way: in", "way: expected `both`, `to-node` or `from-node`"),
        ("begin: 2 s, end: 1 s", "end: lies before `begin`"),
        ("held: 1 ms", "`held` goes only with `reorder`"),
        ("lost: 5 %", "a disturbance has no key `lost`"),
    ],
)
def test_an_impossible_script_is_refused_at_its_place(bench, entry, told):
    with pytest.raises(DescriptionError) as caught:
        bench(f"{{script: [{{{entry}}}]}}")

    assert told in str(caught.value)
    assert all(each.mark.line == NODE.count("\n") + 2 for each in caught.value.mistakes)


def test_a_plan_disturbs_where_the_bench_has_a_relay(bench, jobs):
    job, nothing = jobs(bench("{script: []}"), "disturb: [{loss: 5 %}]")

    assert isinstance(job, Disturb)
    assert [each.loss for each in job.script] == [Decimal("0.05")]
    assert nothing is None


@pytest.mark.parametrize(
    ("relay", "step", "told"),
    [
        ("", "disturb: [{loss: 5 %}]", "disturb: this bench has no relay"),
        ("{script: []}", "disturb: [{loss: 5 %, end: 1 s}]", "are for the relay of a bench file"),
        ("{script: []}", "disturb: [{loss: 500 %}]", "loss: a part of all datagrams"),
        ("", "together: {drive: {feedline.fault: none}, rounds: 3}", "needs two nodes or more"),
        (
            "",
            "together: {drive: {feedline.fault: none, feedline.pressure: 2 bar}, rounds: 3}",
            "feedline is asked by feedline.fault already",
        ),
        ("", "together: {drive: {feedline.fault: none}, rounds: 0}", "rounds: expected 1 to"),
        ("", "together: {drive: {feedline.fault: none}}", "lacks the key `rounds`"),
        ("", "together: {drive: {feedline.pressure: 99 bar}, rounds: 1}", "feedline.pressure"),
    ],
)
def test_a_job_of_the_bus_that_cannot_be_is_refused(bench, jobs, relay, step, told):
    with pytest.raises(DescriptionError) as caught:
        jobs(bench(relay), step)

    assert told in str(caught.value)


def test_the_bus_plan_asks_every_node_of_the_demo():
    rack = read_rack(ROOT / "fixtures" / "glasshouse.yaml")
    (case,) = read_plan(ROOT / "testplans" / "15-bus.yaml", rack).cases

    job = case.steps[0].job
    assert isinstance(job, Together)
    assert {path.split(".")[0] for path in job.drives} == {node.name for node in rack.nodes}
