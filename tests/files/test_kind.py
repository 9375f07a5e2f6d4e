"""The first key of a file says what it is."""

import pytest

from hil.core.error import DescriptionError
from hil.files.kind import FileKind, kind_of
from hil.files.read import (
    read_alarms,
    read_alarms_in_own_units,
    read_known,
    read_plan,
    read_rack,
)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("bench: glasshouse\n", FileKind.BENCH),
        ("# plan: no\n\n---\nalarms: A\n", FileKind.ALARMS),
        ("\ufeffalarms: A\n", FileKind.ALARMS),
        ('"plan": P\n', FileKind.PLAN),
        ("cases: []\nbench: x\n", FileKind.PLAN),
        ("", FileKind.PLAN),
        ("\x00\xff", FileKind.PLAN),
    ],
)
def test_the_first_key_is_the_kind(tmp_path, text, kind):
    (tmp_path / "file.yaml").write_text(text, encoding="utf-8")

    assert kind is kind_of(tmp_path / "file.yaml")


def test_a_file_that_is_not_there_is_left_to_the_reader_of_plans(tmp_path):
    assert kind_of(tmp_path / "nowhere.yaml") is FileKind.PLAN


@pytest.mark.parametrize(
    ("read", "text", "told"),
    [
        (read_plan, "bench: x\nnodes: {}\n", "this is a bench file, expected a plan file"),
        (read_plan, "alarms: x\n", "this is an alarm spec file, expected a plan file"),
        (read_alarms, "plan: x\n", "this is a plan file, expected an alarm spec file"),
        (read_alarms_in_own_units, "bench: x\n", "this is a bench file, expected an alarm"),
        (read_known, "plan: x\n", "this is a plan file, expected a file of known faults"),
        (
            lambda path, _: read_rack(path),
            "plan: x\n",
            "this is a plan file, expected a bench file",
        ),
    ],
)
def test_a_file_of_another_kind_is_one_mistake_that_says_so(tmp_path, rack, read, text, told):
    path = tmp_path / "file.yaml"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(DescriptionError) as refused:
        read(path, rack)
    (mistake,) = refused.value.mistakes
    assert told in str(mistake)
    assert "try: name it" in str(mistake)


def test_a_plan_with_a_key_of_a_bench_file_is_still_a_plan(tmp_path, rack):
    path = tmp_path / "file.yaml"
    path.write_text("plan: x\nbench: y\ncases: []\n", encoding="utf-8")

    with pytest.raises(DescriptionError, match="a plan file has no key `bench`"):
        read_plan(path, rack)


def test_a_bench_file_that_names_its_alarms_but_not_itself_is_still_a_bench_file(tmp_path):
    path = tmp_path / "file.yaml"
    path.write_text("interface: lo\nalarms: alarms.yaml\n", encoding="utf-8")

    with pytest.raises(DescriptionError, match="a bench file lacks the key `bench`"):
        read_rack(path)
