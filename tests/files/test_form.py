"""The form of a part of a file, told also where what it means cannot be known."""

from pathlib import Path

import pytest
from files.probes import BENCH as PROBES
from files.probes import bench_mistakes

from hil.core.error import DescriptionError
from hil.files.alarm_shape import ALARMS
from hil.files.bench_shape import BENCH
from hil.files.form import check_form
from hil.files.mistake import Page
from hil.files.plan_shape import PLAN
from hil.files.read import read_rack_for
from hil.files.text import read_text
from hil.files.tree import read_tree

ROOT = Path(__file__).parent.parent.parent
SHIPPED = sorted([*ROOT.glob("fixtures/*.yaml"), *ROOT.glob("testplans/*.yaml")])
SHAPES = {"bench": BENCH, "plan": PLAN, "alarms": ALARMS}


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_what_can_be_read_has_the_form_of_its_shape(path):
    page = Page(str(path), path.read_bytes())
    assert read_text(page)
    root = read_tree(page)

    check_form(SHAPES[next(iter(root.pairs))], root, page, "")

    assert list(page.mistakes) == []


REST = """
bus:
  rate: fast
  colour: red
depends: {probe.position: probe.angle}
relay:
  script: [{loss: 1, way: sideways}]
commands:
  rack.power: {values: {on: [./on]}, safe: on, within: soon, restarts: 7up!}
operator:
  acts: 3
"""


def test_the_rest_of_a_bench_is_told_although_its_nodes_are_wrong(tmp_path):
    told = bench_mistakes(tmp_path, PROBES, PROBES.replace("host: 127", "host: 1270") + REST)

    assert [each.partition(" | ")[0].partition("; ")[0] for each in told] == [
        "3:7: host: `1270.0.0.1` is not an address such as `127.0.0.1`",
        "97:3: a bus lacks the key `participants`: who is on it",
        "98:3: a bus has no key `colour`",
        "99:27: expected a list of signals, got `probe.angle`",
        "101:27: way: expected `both`, `to-node` or `from-node`, got `sideways`",
        "103:56: within: `soon` is not a number with a unit such as `150 ms`",
        "103:72: restarts: `7up!` is not a name",
        "105:9: expected actions with what is driven instead, got `3`",
    ]


def test_the_form_of_plans_is_told_with_what_is_wrong_in_their_bench(tmp_path):
    bench, plan = tmp_path / "bench.yaml", tmp_path / "plan.yaml"
    bench.write_text(PROBES.replace("number: 1", "numbr: 1"))
    plan.write_text("plan: P\ncases:\n  - case: one\n    stps: []\n  - case: two\n")

    with pytest.raises(DescriptionError) as told:
        read_rack_for(bench, [plan, tmp_path / "none.yaml"])

    places = [str(each.mark).removeprefix(f"{tmp_path}/") for each in told.value.mistakes]
    assert places == [
        f"bench.yaml:{line_of('numbr', bench)}:5",
        "plan.yaml:4:5",
        "plan.yaml:5:5",
        "none.yaml",
    ]


def line_of(word, path):
    lines = path.read_text().splitlines()
    return next(number for number, line in enumerate(lines, 1) if word in line)
