"""Which cases run: selecting nothing is an error, and says in which way."""

import pytest
from core.paper import MARK, case, is_red, step

from hil.core.error import DescriptionError
from hil.core.instant import Duration
from hil.core.plan import Plan
from hil.runner.options import Options
from hil.runner.selection import plan_files, select


def plan(title, *cases):
    return Plan(title=title, file=f"testplans/{title}.yaml", digest="", cases=cases)


RED = step({"feedline.pressure": "4.8"}, [is_red(within=Duration(1))])
FEED = plan(
    "Feed-line pressure",
    case(RED, title="over-pressure turns red", tags=("show", "nightly")),
    case(RED, title="under-pressure turns amber", tags=("nightly",)),
)
MAST = plan("Mast", case(RED, title="dusk lights the lamps", tags=("slow",)))


def titles(*plans, **options):
    return [case.title for case in select(plans, Options(**options)).cases]


def refusal(*plans, **options):
    with pytest.raises(DescriptionError) as caught:
        select(plans, Options(**options))
    return str(caught.value)


def test_everything_runs_in_the_order_of_the_files():
    wanted = ["over-pressure turns red", "under-pressure turns amber", "dusk lights the lamps"]

    assert wanted == titles(FEED, MAST)


@pytest.mark.parametrize("text", ["OVER-press", "turns red"])
def test_only_is_part_of_a_title_in_any_case(text):
    assert titles(FEED, MAST, only=text) == ["over-pressure turns red"]


def test_only_may_be_part_of_a_plans_title():
    assert len(titles(FEED, MAST, only="feed-line")) == 2


def test_a_case_needs_one_of_the_tags():
    assert len(titles(FEED, MAST, tags=("show", "slow"))) == 2


def test_a_repeated_case_has_a_number_in_its_title():
    selection = select([MAST], Options(repeat=2))

    assert [case.title for case in selection.cases] == [
        "dusk lights the lamps (1)",
        "dusk lights the lamps (2)",
    ]
    assert selection.files == ("testplans/Mast.yaml",) * 2


def test_a_seed_gives_the_same_order_and_another_seed_another():
    many = plan("Many", *(case(RED, title=f"case {at}") for at in range(30)))
    first = titles(many, shuffle=1)

    assert first == titles(many, shuffle=1)
    assert first != titles(many, shuffle=2)
    assert sorted(first) == sorted(titles(many))


def test_an_order_does_not_depend_on_which_other_cases_run():
    many = plan("Many", *(case(RED, title=f"case {at}") for at in range(30)))
    fewer = plan("Many", *many.cases[::2])
    kept = [title for title in titles(many, shuffle=1) if int(title.split()[1]) % 2 == 0]

    assert kept == titles(fewer, shuffle=1)


def test_only_plans_with_a_selected_case_are_named():
    assert select([FEED, MAST], Options(only="dusk")).plans == (MAST,)


def test_a_slip_in_the_filter_is_refused_with_what_was_meant():
    text = refusal(FEED, MAST, only="presure")

    assert "no case or plan has 'presure' in its title, of 3 cases" in text
    assert "try: --only 'pressure'" in text


@pytest.mark.parametrize("text", ["ta", "teh", "xq"])
def test_a_word_that_is_in_every_second_title_is_no_suggestion(text):
    of = plan("Of the line", case(RED, title="the lamp at the end of the line"))

    assert "try:" not in refusal(of, only=text)


def test_a_tag_that_nobody_bears_is_refused_with_those_there_are():
    text = refusal(FEED, MAST, tags=("nihgtly",))

    assert "no case bears the tag nihgtly, of 3 cases" in text
    assert "try: nightly, show, slow" in text


def test_plans_whose_cases_are_all_skipped_are_refused_with_the_reasons():
    skipped = plan("Rack", case(RED, title="a", skip="the rack is away"))
    text = refusal(skipped)

    assert "the only selected case is skipped here (the rack is away)" in text
    assert text.startswith(str(MARK))


def test_plans_without_cases_are_refused():
    assert "the plans have no cases" in refusal(plan("Empty"))


def test_an_empty_folder_is_refused(tmp_path):
    with pytest.raises(DescriptionError, match="no plan file"):
        plan_files([str(tmp_path)])


def test_a_folder_stands_for_its_plan_files_by_name(tmp_path):
    for name in ("b.yaml", "a.yaml", "notes.txt"):
        (tmp_path / name).write_text("")

    found = plan_files([str(tmp_path), str(tmp_path / "a.yaml")])
    assert [str(tmp_path / "a.yaml"), str(tmp_path / "b.yaml")] == found


def test_the_three_ways_to_run_nothing_have_three_texts(tmp_path):
    with pytest.raises(DescriptionError) as caught:
        plan_files([str(tmp_path)])
    slip = refusal(FEED, only="presure")
    skipped = refusal(plan("Rack", case(RED, skip="the rack is away")))

    assert len({str(caught.value), slip, skipped}) == 3
