"""No bytes raise anything but DescriptionError, and every place named is in the file."""

import pytest
from files.probes import BENCH, bench
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hil.core.error import DescriptionError
from hil.files.read import read_plan, read_rack

PLAN = """\
plan: Probing
cases:
  - case: one ${what}
    vary: {what: [angle, position], size: [1, 2]}
    precondition: {probe.lamp: off}
    steps:
      - stimulus: {probe.angle: "${size} deg"}
        expect:
          - {signal: "probe.${what}", value: 4.8 deg, tolerance: {larger-of: [2 % of value, 1 deg]}, within: 1 s, hold: 2 s}
          - {signal: [probe.lamp], not: [red, on], during: 1 s to 2 s}
"""

QUICK = settings(
    max_examples=100,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
PIECES = [
    *("{", "}", "[", "]", ":", ": ", "- ", "\n", "\n  ", "#", " #x", '"', "'", "&a ", "*a", "!!x "),
    *("|", ">", "---\n", "...\n", "? ", "~", ",", "\t", "%", "@", "`", "<<: ", "\ufeff", "\x85"),
    *(
        "${what}",
        "${",
        "}",
        "1e999",
        "-",
        "0x",
        ".nan",
        "4,8",
        "° C",
        "\u2028",
        "\U0001f600",
        "\x00",
    ),
    *("signal", "value", "within", "steps", "case", "unit", "1 s", " to ", "bytes", "9" * 50),
]


def mangled(text):
    """Strategies of the text with a few pieces put in, taken out, or moved."""
    place = st.integers(0, len(text))
    change = st.tuples(place, st.integers(0, 12), st.sampled_from(PIECES))
    return st.lists(change, min_size=1, max_size=4).map(lambda changes: _apply(text, changes))


def _apply(text, changes):
    for place, length, piece in changes:
        text = text[:place] + piece + text[place + length :]
    return text.encode("utf-8", "surrogatepass")


def check_refusal(error, raw):
    lines = (
        raw.count(b"\n") + raw.count(b"\r") + raw.count(b"\xc2\x85") + raw.count(b"\xe2\x80") + 2
    )
    assert error.mistakes
    for mistake in error.mistakes:
        assert 1 <= mistake.mark.line <= lines
        assert mistake.mark.column >= 1
        assert mistake.what.isprintable()


@QUICK
@given(
    raw=st.binary(max_size=200)
    | mangled(PLAN)
    | st.text(max_size=80).map(lambda t: t.encode("utf-8", "replace"))
)
def test_any_plan_bytes_are_read_or_refused(tmp_path, rack, raw):
    file = tmp_path / "plan.yaml"
    file.write_bytes(raw)
    try:
        read_plan(file, rack)
    except DescriptionError as error:
        check_refusal(error, raw)


@QUICK
@given(raw=mangled(BENCH))
def test_any_bench_bytes_are_read_or_refused(tmp_path, raw):
    file = tmp_path / "bench.yaml"
    file.write_bytes(raw)
    try:
        read_rack(file)
    except DescriptionError as error:
        check_refusal(error, raw)


@QUICK
@given(
    tree=st.recursive(
        st.sampled_from(["on", "4.8 bar", "''", "~", "probe.lamp", "1 s", "x"]),
        lambda inner: (
            st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]")
            | st.dictionaries(
                st.sampled_from(
                    ["signal", "value", "not", "within", "tolerance", "larger-of", "a"]
                ),
                inner,
                max_size=4,
            ).map(lambda items: "{" + ", ".join(f"{k}: {v}" for k, v in items.items()) + "}")
        ),
        max_leaves=12,
    ),
    key=st.sampled_from(["expect", "stimulus", "wait", "vary", "precondition", "tags", "reboots"]),
)
def test_any_tree_in_any_place_is_read_or_refused(tmp_path, rack, tree, key):
    inside = key in ("expect", "stimulus", "wait")
    text = "plan: P\ncases:\n  - case: c\n"
    text += (
        f"    steps:\n      - {key}: {tree}\n" if inside else f"    {key}: {tree}\n    steps: []\n"
    )
    file = tmp_path / "plan.yaml"
    file.write_text(text, encoding="utf-8")

    with pytest.raises(DescriptionError) as caught:
        read_plan(file, rack)
    check_refusal(caught.value, text.encode())


def test_untouched_texts_are_read(tmp_path, rack):
    file = tmp_path / "plan.yaml"
    file.write_text(PLAN, encoding="utf-8")

    assert len(read_plan(file, rack).cases) == 4
    assert bench(tmp_path).name == "probes"
