"""Profiles in plans: the commands they make, and what is refused before anything moves."""

from decimal import Decimal

import pytest
from files.probes import cases, mistakes, plan_text

from hil.measure.profile import Sine
from hil.measure.tracking import Measured, Tracking

EXPECT = "expect: [{signal: probe.position, lag: 100 ms, gain: 0.9 to 1.1, worst-error: 3 deg}]"


def follow(profile, more="every: 100 ms, for: 1 s", drive="probe.angle", expect=EXPECT):
    return plan_text(f"- follow: {{drive: {drive}, {profile}, {more}, {expect}}}")


def job(tmp_path, rack, text):
    found = cases(tmp_path, rack, text)[0].steps[0].job
    assert isinstance(found, Tracking)
    return found


@pytest.mark.parametrize(
    ("profile", "values"),
    [
        ("ramp: {from: 0 deg, to: 1.5 deg, over: 500 ms}", "0 0.3 0.6 0.9 1.2 1.5 1.5 1.5 1.5 1.5"),
        ("levels: {0 s: 0 deg, 300 ms: 2 deg}", "0 0 0 2 2 2 2 2 2 2"),
        ("points: {0 s: 0 deg, 1 s: 5 deg}", "0 0.5 1.0 1.5 2.0 2.5 3.0 3.5 4.0 4.5"),
        (
            "sine: {centre: 1 deg, amplitude: 2 deg, frequency: 1 Hz, phase: 90 deg}",
            "3 2.6 1.6 0.4 -0.6 -1 -0.6 0.4 1.6 2.6",
        ),
    ],
)
def test_a_profile_becomes_commands_on_counts_of_the_wire(tmp_path, rack, profile, values):
    found = job(tmp_path, rack, follow(profile))

    assert list(found.values) == [Decimal(value) for value in values.split()]
    assert isinstance(found.sine, Sine) == profile.startswith("sine")
    assert [what for what, _ in found.followers[0].bounds] == [
        Measured.LAG,
        Measured.GAIN,
        Measured.WORST,
    ]


def test_a_chirp_begins_at_its_first_frequency(tmp_path, rack):
    text = follow(
        "chirp: {centre: 0 deg, amplitude: 1 deg, from: 0.1 Hz, to: 1 Hz, over: 2 s}",
        "every: 50 ms, for: 2 s, after: 100 ms",
    )
    found = job(tmp_path, rack, text)

    assert len(found.values) == 40 and found.after == 100_000_000
    assert found.values[0] == 0 and max(found.values) == 1


RAMP = "ramp: {from: 0 deg, to: 3 deg, over: 1 s}"


@pytest.mark.parametrize(
    ("text", "what"),
    [
        (
            follow("ramp: {from: 0 deg, to: 40 deg, over: 400 ms}"),
            "two commands are 10 deg apart, probe.angle may change by 5 deg in 100 ms",
        ),
        (
            follow("ramp: {from: 85 deg, to: 95 deg, over: 900 ms}"),
            "is outside the range of probe.angle, -90 deg to 90 deg",
        ),
        (follow(RAMP, drive="probe.position"), "probe.position is no number that can be driven"),
        (follow(RAMP, drive="probe.lamp"), "probe.lamp is no number that can be driven"),
        (follow(RAMP, "every: 0 s, for: 1 s"), "every: expected more than 0 s"),
        (follow(RAMP, "every: 1 s, for: 2 s"), "makes 2 commands, expected 4 to 100000"),
        (follow(RAMP, "every: 100 ms, for: 1 s, after: 1 s"), "after: leaves nothing that counts"),
        (follow("ramp: {from: 0 deg, to: 3 bar, over: 1 s}"), "to: `3 bar` does not fit"),
        (follow("ramp: {from: 0 deg, to: 3 deg, over: 0 s}"), "takes longer than nothing"),
        (follow("ramp: {from: 0 deg, to: 3 deg}"), "a ramp lacks the key `over`"),
        (follow("levels: {1 s: 0 deg, 0 s: 2 deg}"), "levels: the times of a profile rise"),
        (follow("levels: {0 s: 0 deg, later: 2 deg}"), "levels: `later`"),
        (
            follow("sine: {centre: 0 deg, amplitude: 1 deg, frequency: 0 Hz}"),
            "sine: a frequency is above 0",
        ),
        (follow("sine: {centre: 0 deg, amplitude: 1 deg, frequency: 1 s}"), "frequency: `1 s`"),
        (
            follow(RAMP, expect="expect: [{signal: probe.position, phase: at least -10 deg}]"),
            "phase: only a sine has one",
        ),
        (
            follow(RAMP, expect="expect: [{signal: probe.lamp, lag: 1 s}]"),
            "probe.lamp is no number that can be seen",
        ),
        (
            follow(RAMP, expect="expect: [{signal: slow.warmth, lag: 20 ms}]"),
            "lag: 20 ms is finer than the looks at slow.warmth, one every 50 ms",
        ),
        (
            follow(RAMP, expect="expect: [{signal: probe.position}]"),
            "expected one or more of `lag`",
        ),
    ],
)
def test_what_cannot_be_driven_or_followed_is_refused(tmp_path, rack, text, what):
    found = mistakes(tmp_path, rack, text)

    assert any(what in sentence for sentence in found), found
