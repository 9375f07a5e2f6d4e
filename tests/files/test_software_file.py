"""`software:` against the rest of the bench file: every misfit at the key that is wrong."""

import re
from pathlib import Path

import pytest

from hil.core.error import DescriptionError
from hil.files.read import read_rack

ROOT = Path(__file__).parents[2]
NEEDED = ("bench", "interface", "host", "checks", "layouts", "nodes", "software")


def needed() -> str:
    """Return the demo's bench file without the parts that have nothing to do with software."""
    text = (ROOT / "fixtures" / "glasshouse.yaml").read_text(encoding="utf-8")
    parts = re.split(r"^(?=[a-z-]+:)", text, flags=re.MULTILINE)
    return "".join(part for part in parts if part.split(":")[0] in NEEDED)


BENCH = needed()
SLIP = ("    feed-amber: 3.60 bar", "    feed-ambre: 3.60 bar")
LABEL = ("labels: {0: run, 1: restart}", "labels: {0: run, 1: begin}")


def mistakes(folder, *changes):
    """Return (what stands there, what is wrong, hint) for a bench file with texts changed."""
    text = BENCH
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    (folder / "bench.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(DescriptionError) as caught:
        read_rack(folder / "bench.yaml")
    lines = text.split("\n")
    return [
        (lines[one.mark.line - 1][one.mark.column - 1 :].split(":")[0], one.what, one.hint)
        for one in caught.value.mistakes
    ]


@pytest.mark.parametrize(
    ("change", "key", "what", "hint"),
    [
        (("model: glasshouse", "model: glashouse"), "model", "no model is called", "glasshouse"),
        (SLIP, "feed-ambre", "no setting is called", "feed-amber"),
        (
            ("    feed-amber: 3.60 bar", "    feed-amber: 3 kPa"),
            "feed-amber",
            "expected a number and bar, got '3 kPa'",
            "feed-amber: 3.60 bar",
        ),
        (
            ("    feed-amber: 3.60 bar", "    feed-amber: 9 bar"),
            "feed-amber",
            "feed-amber must be below feed-red",
            "",
        ),
        (("\n  tile:", "\n  poster:"), "poster", "the glasshouse has no node 'poster'", "tile"),
        (LABEL, "power", "cannot be 'begin'", "restart"),
        (
            ("    firmware: 1.4.2\n", "    firmware: 1.4.2-test\n"),
            "feedline",
            "a reading of feedline cannot be sent",
            "",
        ),
    ],
)
def test_a_misfit_is_a_mistake_of_the_file_at_its_key(tmp_path, change, key, what, hint):
    found = mistakes(tmp_path, change)

    assert [1 for place, told, tip in found if place == key and what in told and hint in tip], found


def test_all_misfits_are_told_at_once(tmp_path):
    found = mistakes(tmp_path, SLIP, LABEL)

    assert {"feed-ambre", "power"} == {place for place, _, _ in found}


def test_without_software_nothing_has_to_fit(tmp_path):
    text = BENCH.split("\nsoftware:")[0].replace("\n  tile:", "\n  poster:")
    (tmp_path / "bench.yaml").write_text(f"{text}\n", encoding="utf-8")

    assert "poster" in {node.name for node in read_rack(tmp_path / "bench.yaml").nodes}
