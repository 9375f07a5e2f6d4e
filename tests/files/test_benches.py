"""Plans for other benches: passed over in a folder, refused where they are asked for."""

import pytest

from hil.core.error import DescriptionError
from hil.files.read import read_plans, read_plans_with_warnings

CASES = """\
cases:
  - case: a
    steps:
      - stimulus: {probe.lamp: red}
        expect: [{signal: probe.lamp, value: red, within: 1 s}]
"""
TEXTS = {
    "any.yaml": f"plan: Any\n{CASES}",
    "here.yaml": f"plan: Here\nbenches: [elsewhere, probes]\n{CASES}",
    "other.yaml": "plan: Other\nbenches: [far, farther]\ncases: [{case: a, steps: [{odd: 1}]}]\n",
}


@pytest.fixture
def files(tmp_path):
    for name, text in TEXTS.items():
        (tmp_path / name).write_text(text)
    return [str(tmp_path / name) for name in TEXTS]


def test_a_plan_for_another_bench_in_a_folder_is_passed_over_and_told(files, rack):
    reading = read_plans_with_warnings(files, rack, asked=())

    assert [plan.title for plan in reading.plans] == ["Any", "Here"]
    assert reading.passed_over == f"passed over, for other benches: {files[2]} (far or farther)"


def test_nothing_is_said_where_every_plan_is_for_this_bench(files, rack):
    assert read_plans_with_warnings(files[:2], rack, asked=()).passed_over == ""


@pytest.mark.parametrize("read", [read_plans, read_plans_with_warnings])
def test_a_plan_for_another_bench_that_was_asked_for_is_refused(files, rack, read):
    with pytest.raises(DescriptionError) as caught:
        read(files, rack)

    (mistake,) = caught.value.mistakes
    assert str(mistake).splitlines() == [
        f"{files[2]}:1:1: this plan is for the bench far or farther, the bench here is probes",
        "    try: name its bench file with --bench",
    ]


def test_a_folder_with_plans_for_other_benches_alone_is_refused(files, rack):
    with pytest.raises(DescriptionError, match="this plan is for the bench far or farther"):
        read_plans_with_warnings(files[2:], rack, asked=())


def test_a_list_of_benches_that_is_none_is_a_mistake(tmp_path, rack):
    path = tmp_path / "odd.yaml"
    path.write_text(f"plan: Odd\nbenches: {{probes: yes}}\n{CASES}")

    with pytest.raises(DescriptionError, match=r"odd\.yaml:2:10"):
        read_plans([path], rack)


def strange(*signals):
    lines = "".join(
        f"      - stimulus: {{{signal}: red}}\n"
        f"        expect: [{{signal: {signal}, value: red, within: 1 s}}]\n"
        for signal in signals
    )
    return f"plan: Strange, with a probe.\ncases:\n  - case: a\n    steps:\n{lines}"


def mistakes_of(text, rack, tmp_path):
    path = tmp_path / "strange.yaml"
    path.write_text(text)
    with pytest.raises(DescriptionError) as caught:
        read_plans([str(path)], rack)
    return [str(mistake).replace(str(path), "FILE") for mistake in caught.value.mistakes]


def test_a_plan_that_names_no_node_of_the_bench_is_one_mistake(tmp_path, rack):
    assert mistakes_of(strange("valve.lamp", "door.lamp"), rack, tmp_path) == [
        "FILE:1:1: this plan is about nodes that the bench probes does not have, "
        "such as `door` and `valve` (4 mistakes)\n"
        "    try: name its bench file with --bench, or the benches it is for at its top: "
        "benches: [NAME]"
    ]


def test_a_name_that_is_like_one_of_the_bench_among_strange_ones_is_chance(tmp_path, rack):
    assert len(mistakes_of(strange("prob.lamp", "door.lamp"), rack, tmp_path)) == 1


@pytest.mark.parametrize(
    "text",
    [
        strange("valve.lamp", "probe.lamp"),  # one node is the bench's
        strange("prob.lamp", "prob.caption"),  # a slip of the pen
        strange('"valve.${one}"', '"${one}.lamp"').replace(
            "    steps", "    vary: {one: [probe]}\n    steps"
        ),
    ],
)
def test_a_plan_about_the_bench_is_told_every_mistake(text, rack, tmp_path):
    told = mistakes_of(text, rack, tmp_path)

    assert len(told) > 1
    assert all("there is no signal" in one for one in told)
