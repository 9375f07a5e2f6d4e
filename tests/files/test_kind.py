"""The first key of a file says what it is."""

import pytest

from hil.files.kind import FileKind, kind_of


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
