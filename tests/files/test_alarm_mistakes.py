"""Mistakes in alarm spec files: all at once, each with its place and what to do."""

import pytest
from files.alarm_paper import ALARMS, changed, mistakes, read
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.core.error import DescriptionError
from hil.files.read import read_alarms_in_own_units

LABELS = "labels: {good: on, bad: red, fault: no, stale: no, silent: no, start-up: off}, cue: text"
SHOWN = f"{{signal: probe.lamp, {LABELS}}}"
UNJUDGED = "not-judged: [good, bad, fault, stale, silent, start-up]"
BAND = "dead-band: 0.5 bar"
KEY = "    agree-within"


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        # holes, overlaps, owners
        (
            "below: 5 bar}",
            "below: 4.9 bar}",
            "8:9: AL-101: 4.95 bar (count 495) is in no band | "
            "try: let the bands meet at one level and state which of them owns it",
        ),
        (
            "below: 5 bar}",
            "at-or-below: 5 bar}",
            "8:9: AL-103: 5.00 bar (count 500) is in two bands, good and bad | "
            "try: let the bands meet at one level and state which of them owns it",
        ),
        (
            "at-or-above: 5 bar",
            "from: 5 bar",
            "8:34: `from` does not say which band `5 bar` itself belongs to | "
            "try: at-or-above: 5 bar, or above: 5 bar",
        ),
        (
            "at-or-above: 5 bar",
            "at-or-above: 5 bar, above: 5 bar",
            "8:54: a band has `at-or-above` and `above`, expected at most one of them | "
            "try: leave out all but `at-or-above` or `above`",
        ),
        # signals, dimensions
        (
            "probe.pressure",
            "probe.presure",
            "4:13: there is no signal `probe.presure` on this bench | try: probe.pressure",
        ),
        ("probe.pressure", "probe.lamp", "4:13: probe.lamp carries a label, expected a number"),
        (
            "0.5 bar",
            "0.5 mm",
            "8:65: dead-band: `0.5 mm` does not fit a signal in bar | try: write it in bar",
        ),
        ("at-or-above: 5 bar", "at-or-above: 5", "8:47: at-or-above: `5` has no unit | try: 5 bar"),
        (
            KEY,
            "    unit: mm\n" + KEY,
            "15:11: unit: `1 mm` does not fit a signal in bar | try: write it in bar",
        ),
        (
            KEY,
            "    range: 0 bar to 20 bar\n" + KEY,
            "15:12: range: `0 bar to 20 bar` is wider than that of probe.pressure | "
            "try: 0 bar to 10 bar",
        ),
        # dead bands
        (
            BAND,
            "clears-above: 4.5 bar",
            "8:54: `clears-above`: this band trips on the way up, so it clears below a level | "
            "try: clears-below",
        ),
        (
            BAND,
            "clears-below: 5.5 bar",
            "8:9: AL-201: bad trips when the value rises to 5 bar but would clear at 5.5 bar, "
            "beyond it | try: state a clear level below 5 bar",
        ),
        (
            BAND,
            "dead-band: 0.5 bar, clears-below: 4.5 bar",
            "8:74: a band has `dead-band` and `clears-below`, expected at most one of them | "
            "try: leave out all but `dead-band` or `clears-below`",
        ),
        (
            "    reset-point: clears\n",
            "",
            "8:65: a dead band needs `reset-point`: does a value exactly there clear the alarm? | "
            "try: reset-point: clears, or reset-point: holds",
        ),
        (BAND, "dead-band: -1 bar", "8:65: dead-band: a width is not negative"),
        # delays
        (
            BAND,
            f"{BAND}, on-delay: 300 ms",
            "8:84: on-delay: `300 ms` does not say how its time is counted | "
            "try: {time: 300 ms, counted: unbroken, in-dead-band: interrupts}",
        ),
        (
            BAND,
            f"{BAND}, on-delay: {{time: 300 ms, in-dead-band: counts}}",
            "8:84: a delay lacks the key `counted`: whether an interruption starts the time afresh "
            "or only pauses it",
        ),
        (
            BAND,
            f"{BAND}, off-delay: {{time: 300 ms, counted: unbroken}}",
            "8:85: off-delay needs `in-dead-band`: does a dip into the dead band count as still "
            "beyond? | try: in-dead-band: interrupts, or in-dead-band: counts",
        ),
        # names of bands and colours
        ("normal: good", "normal: god", "5:13: normal: there is no band `god` | try: good"),
        ("colour: red", "colour: rde", "8:29: colour: there is no colour `rde` | try: red"),
        # the normal band
        (
            "below: 5 bar}",
            "below: 5 bar, latched: yes}",
            "7:51: `latched` belongs to the alarm on the other side of the edge, not to normal",
        ),
        # indicators
        (
            "bad: red",
            "bad: rd",
            "14:54: probe.lamp has no label `rd` for bad | try: red",
        ),
        ("stale: no, silent", "stall: no, silent", "14:70: there is no band `stall` | try: stale"),
        (
            "fault: no, ",
            "",
            "14:18: AL-508: probe.lamp has nothing to show for fault | "
            "try: state what it shows then",
        ),
        (
            LABELS,
            "labels: by colour, not-judged: [good, stale, silent, start-up]",
            "14:18: probe.lamp cannot show `blue`, the colour of fault | "
            "try: it has off, on, no, red",
        ),
        (
            "probe.lamp",
            "probe.ghost",
            "14:18: probe.ghost is in no reading of its node, so nobody can see it",
        ),
        (
            SHOWN,
            f"{{signal: probe.share, segments: {{good: 0, bad: 5}}, {UNJUDGED}}}",
            "14:56: bad: probe.share shows 0 to 1 segments, not 5 to 5",
        ),
        (
            SHOWN,
            "{signals: [probe.air, probe.share], rgb: by colour}",
            "14:19: rgb: expected 3 signals, got 2",
        ),
        (
            SHOWN,
            f"{{signals: [probe.air, probe.share], segments: {{good: 0}}, {UNJUDGED}}}",
            "14:19: `signals` belong together only for `rgb` or `chromaticity` | "
            "try: signal: [...], for several that show it alike",
        ),
        (
            SHOWN,
            "{signal: probe.pressure, reading: as displayed}",
            "14:43: reading: how many decimals, rounded in which way? neither here nor under "
            "`display`",
        ),
        (
            SHOWN,
            f"{{signal: slow.tally, blink: {{bad: 2 bar}}, {UNJUDGED}}}",
            "14:43: bad: `2 bar` does not fit a signal in Hz | try: write it in Hz",
        ),
        # the rest
        (
            "decides: measured",
            "decides: displayed",
            "10:14: the displayed value decides, but how it is displayed is not stated | "
            "try: display: {decimals: 1, rounding: half-away-from-zero}",
        ),
        (
            BAND,
            f"{BAND}, latched: yes",
            "8:9: bad is latched, but nothing acknowledges it | try: state `acknowledge`",
        ),
        (
            "tolerance: {",
            "tolerence: {",
            "16:5: a spec has no key `tolerence` | try: tolerance",
        ),
        (
            "stale-after: 1 s",
            "stale-after: 0 s",
            "11:71: stale-after: expected more than 0 s, or `never`",
        ),
        (
            KEY,
            "    accept: [{code: AL-999, reason: x}]\n" + KEY,
            "15:21: code: there is no finding `AL-999` | "
            "try: the codes that `hil alarms review` tells",
        ),
        (
            KEY,
            "    given: {probe.air: 3 kPa}\n" + KEY,
            "15:13: probe.air cannot be driven",
        ),
        (
            KEY,
            "    provoke: {silent: {probe.ghost: asleep, probe.lamp: off}}\n" + KEY,
            "15:23: silent: expected one signal with its value, got several",
        ),
        (
            KEY,
            "    provoke: {driven-by: {signal: probe.air, at-low: 1 kPa, at-high: 2 kPa}}\n" + KEY,
            "15:35: probe.air is not a number that can be driven",
        ),
        (
            KEY,
            "    provoke: {driven-by: {signal: probe.angle, at-low: 0 deg, at-high: 99 deg}}\n"
            + KEY,
            "15:72: at-high: 99 deg is outside the range of probe.angle, -90 deg to 90 deg",
        ),
        (
            "specs:",
            "colours: {red: {rgb: blau}}\nspecs:",
            '2:22: rgb: `blau` is not red, green and blue | try: "#FFBF00"',
        ),
        (
            "rule: simple",
            "rule: simple, guard: 2",
            "16:64: `guard` goes only with the rule `guarded`",
        ),
    ],
)
def test_a_mistake_is_told_with_its_place_and_what_to_do(tmp_path, rack, old, new, told):
    assert [told] == mistakes(tmp_path, rack, (old, new))


def test_every_mistake_is_told_at_once(tmp_path, rack):
    found = mistakes(
        tmp_path,
        rack,
        ("normal: good", "normal: god"),
        ("dead-band: 0.5 bar", "dead-band: 0.5"),
        ("stale: blue", "stale: bleu"),
        ("signal: probe.lamp", "signal: probe.lmp"),
        ("rule: simple", "rule: simpel"),
    )

    assert [int(line.split(":")[0]) for line in found] == [5, 8, 11, 14, 16]


def test_errors_of_the_review_are_told_with_the_mistakes_of_other_specs(tmp_path, rack):
    second = ALARMS[ALARMS.index("  - spec") :].replace("spec: Pressure", "spec: Again")
    text = changed(("below: 5 bar}", "below: 4 bar}")) + second.replace(
        "colour: red", "colour: rad"
    )

    with pytest.raises(DescriptionError) as caught:
        read(tmp_path, rack, text)
    assert [
        f"{one.mark.line}:{one.mark.column}: {one.what[:12]}" for one in caught.value.mistakes
    ] == ["8:9: AL-101: 4.50", "22:29: colour: ther"]


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("fault", "8:16: `fault` is a word of its own"),
        ("good", "8:16: the band `good` stands here"),
    ],
)
def test_a_band_needs_a_name_of_its_own(tmp_path, rack, name, told):
    assert mistakes(tmp_path, rack, ("band: bad", f"band: {name}"))[0].startswith(told)


def test_two_specs_of_one_name_are_refused(tmp_path, rack):
    with pytest.raises(
        DescriptionError, match="the name `Pressure` is taken, by the spec in line 3"
    ):
        read(tmp_path, rack, ALARMS + ALARMS[ALARMS.index("  - spec") :])


def test_a_file_that_is_not_there_is_a_mistake(tmp_path, rack):
    with pytest.raises(DescriptionError, match="cannot be read"):
        read_alarms_in_own_units(tmp_path / "nowhere.yaml", rack)


PIECES = st.sampled_from(
    [*ALARMS.split(), "~", "[]", "{}", "-1 bar", "never", "&a", "*a", "by colour", "0", '"', "é"]
)


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(ALARMS.split()) - 1), PIECES)
def test_no_text_raises_anything_but_a_description_error(tmp_path_factory, rack, place, piece):
    words = ALARMS.split()
    start = 0
    for word in words[: place + 1]:
        start = ALARMS.index(word, start) + len(word)
    text = ALARMS[: start - len(words[place])] + piece + ALARMS[start:]

    try:
        read(tmp_path_factory.mktemp("any"), rack, text)
    except DescriptionError as error:
        told = error.mistakes
    else:
        return
    assert told
