"""Cases that need a person, where nobody is there."""

from dataclasses import replace

import pytest
from core.paper import MARK, case, ms, step

from hil.core.error import DescriptionError
from hil.core.plan import Ask, Plan
from hil.runner.absence import asked_of_a_person, without_a_person
from hil.runner.options import Options
from hil.runner.selection import select

LOOK = Ask(act=False, text="is the lamp red?", within=ms(1000), mark=MARK)


def asking(title="looked at", by="", **more):
    return case(
        replace(step({"feedline.pressure": "3"}), ask=replace(LOOK, by=by)), title=title, **more
    )


def plan(*cases):
    return Plan(title="feed", file="feed.yaml", digest="", cases=cases)


def test_only_what_a_person_is_asked_is_skipped_and_the_reason_says_what_and_why():
    cases = (case(step(), title="plain"), asking(), asking("instead", by="beacon.lamp red"))
    (found,) = without_a_person([plan(*cases)], "no terminal is here")

    assert [each.skip for each in found.cases] == [
        "",
        "needs a person (is the lamp red?), but no terminal is here",
        "",
    ]
    assert [asked_of_a_person(each) for each in cases] == ["", "is the lamp red?", ""]


def test_a_reason_of_the_author_s_own_stays():
    (found,) = without_a_person([plan(asking(skip="the lamp is away"))], "nobody is here")

    assert found.cases[0].skip == "the lamp is away"


def test_a_run_of_nothing_but_such_cases_is_refused_as_any_run_of_skipped_cases():
    plans = without_a_person([plan(asking())], "the run is unattended")

    with pytest.raises(DescriptionError, match=r"the only selected case is skipped here"):
        select(plans, Options())
