"""Alarm spec files: what is written is what the spec says."""

from decimal import Decimal
from pathlib import Path

import pytest
from files.alarm_paper import ALARMS, changed, read
from files.probes import BENCH, bench

from hil.alarms.edge import band_of, edges
from hil.alarms.indicator import (
    Blink,
    Chromaticity,
    Cue,
    Displayed,
    Indicator,
    Labels,
    Reading,
    RgbCodes,
    Rounding,
    Segments,
    Text,
)
from hil.alarms.means import Line, Means, Way
from hil.alarms.spec import (
    Acceptance,
    AfterFault,
    ClearsAt,
    Counting,
    Latch,
    Meaning,
    Rule,
    Width,
)
from hil.core.instant import MILLISECOND, SECOND
from hil.files.alarm_carry import longest_carry
from hil.files.read import read_alarms, read_alarms_with_findings, read_rack

ROOT = Path(__file__).parents[2]
LABELS = "labels: {good: on, bad: red, fault: no, stale: no, silent: no, start-up: off}, cue: text"
SHOWN = f"{{signal: probe.lamp, {LABELS}}}"
NOT_JUDGED = "not-judged: [fault, stale, silent, start-up]"
DRIVEN = "drive: {operation: 7, safe: asleep, actuator: no}"


def one(tmp_path, rack, *changes):
    (spec,) = read(tmp_path, rack, changed(*changes))
    return spec


def indicator(tmp_path, rack, text) -> Indicator:
    spec = one(tmp_path, rack, (SHOWN, f"{SHOWN}\n      - {text}"))
    return spec.indicators[1]


def test_the_small_spec_says_what_is_written(tmp_path, rack):
    spec = one(tmp_path, rack)
    good, bad = spec.bands

    assert (spec.name, spec.signal, spec.unit) == ("Pressure", "probe.pressure", "bar")
    assert (Decimal(0), Decimal(10)) == (spec.low, spec.high)
    assert (None, Decimal(5), False) == (good.low, good.high, good.high_included)
    assert (Decimal(5), True, None) == (bad.low, bad.low_included, bad.high)
    assert bad.dead_band == Width(amount=Decimal("0.5"), level_clears=True, mark=bad.dead_band.mark)
    assert (bad.dead_band.mark.line, bad.dead_band.mark.column) == (8, 65)
    assert spec.no_reading.stale_after == SECOND
    assert spec.no_reading.silent_after is None
    assert spec.no_reading.after is AfterFault.KEPT
    assert spec.indicators[0].how == Labels(
        wanted={
            "good": "on",
            "bad": "red",
            "fault": "no",
            "stale": "no",
            "silent": "no",
            "start-up": "off",
        },
        cue=Cue.TEXT,
    )
    assert spec.agreement == 100 * MILLISECOND
    assert spec.tolerance.rule is Rule.SIMPLE


@pytest.mark.parametrize(
    ("word", "below", "at"),
    [("at-or-above", "good", "bad"), ("above", "good", "good")],
)
def test_the_word_of_an_edge_says_whose_it_is(tmp_path, rack, word, below, at):
    partner = {"at-or-above": "below", "above": "at-or-below"}[word]
    spec = one(
        tmp_path, rack, ("below: 5 bar", f"{partner}: 5 bar"), ("at-or-above: 5", f"{word}: 5")
    )

    assert [below, at, "bad"] == [
        band_of(spec, Decimal(value)) for value in ("4.99", "5.00", "5.01")
    ]


@pytest.mark.parametrize(
    ("word", "at_level"), [("clears-at-or-below", True), ("clears-below", False)]
)
def test_a_clear_level_says_whether_it_clears_itself(tmp_path, rack, word, at_level):
    spec = one(tmp_path, rack, ("dead-band: 0.5 bar", f"{word}: 4.5 bar"))
    (edge,) = edges(spec)

    assert isinstance(spec.bands[1].dead_band, ClearsAt)
    assert (Decimal("4.5"), at_level) == (edge.reset, edge.reset_included)


def test_a_band_may_have_a_reset_point_of_its_own(tmp_path, rack):
    spec = one(tmp_path, rack, ("dead-band: 0.5 bar", "dead-band: 0.5 bar, reset-point: holds"))

    assert not spec.bands[1].dead_band.level_clears


def test_levels_convert_into_the_unit_of_the_signal(tmp_path, rack):
    spec = one(tmp_path, rack, ("at-or-above: 5 bar", "at-or-above: 500 kPa"))

    assert spec.bands[1].low == 5


def test_delays_say_how_their_time_is_counted(tmp_path, rack):
    on = "on-delay: {time: 300 ms, counted: unbroken, in-dead-band: interrupts}"
    off = "off-delay: {time: 2 s, counted: accumulated, in-dead-band: counts, forget-after: 1 min}"
    band = one(tmp_path, rack, ("dead-band: 0.5 bar", f"dead-band: 0.5 bar, {on}, {off}")).bands[1]

    assert (
        band.on_delay.length,
        band.on_delay.counting,
        band.on_delay.dead_band_counts,
        band.on_delay.forget_after,
    ) == (300 * MILLISECOND, Counting.UNBROKEN, False, None)
    assert (
        band.off_delay.length,
        band.off_delay.counting,
        band.off_delay.dead_band_counts,
        band.off_delay.forget_after,
    ) == (2 * SECOND, Counting.ACCUMULATED, True, 60 * SECOND)


def test_a_latch_is_acknowledged_by_a_signal(tmp_path, rack):
    spec = one(
        tmp_path,
        rack,
        ("dead-band: 0.5 bar", "dead-band: 0.5 bar, latched: yes"),
        (
            "    agree-within",
            "    acknowledge: {signal: probe.lamp, becomes: red, while-active: yes, "
            "survives-restart: no}\n    agree-within",
        ),
    )

    assert spec.bands[1].latched
    assert spec.latch == Latch(
        signal="probe.lamp",
        label="red",
        while_active=True,
        survives_restart=False,
        mark=spec.latch.mark,
    )


def test_the_rest_of_a_spec(tmp_path, rack):
    spec = one(
        tmp_path,
        rack,
        ("specs:", 'colours: {red: {rgb: "#C00000", means: abnormal}}\nspecs:'),
        ("rule: simple", "rule: guarded, guard: 0.5"),
        (
            "    agree-within",
            "    requirement: [A-1, A-2]\n"
            "    quantity: pressure\n"
            "    range: 1 bar to 9 bar\n"
            "    given: {probe.ghost: awake}\n"
            "    display: {decimals: 1, rounding: half-even}\n"
            "    accept: [{code: AL-601, for: bad, reason: it is small}]\n"
            "    agree-within",
        ),
        ("decides: measured", "decides: displayed"),
    )

    assert spec.requirements == ("A-1", "A-2")
    assert spec.quantity == "pressure"
    assert (Decimal(1), Decimal(9)) == (spec.low, spec.high)
    assert spec.given == (("probe.ghost", "awake"),)
    assert spec.display == Displayed(decimals=1, rounding=Rounding.HALF_EVEN)
    assert spec.displayed_decides
    assert spec.accepted[0] == Acceptance(
        code="AL-601", reason="it is small", mark=spec.accepted[0].mark, where="bad"
    )
    assert (spec.palette[0].rgb, spec.palette[0].meaning) == ((192, 0, 0), Meaning.ABNORMAL)
    assert spec.tolerance.guard == Decimal("0.5")


@pytest.mark.parametrize(
    ("text", "how"),
    [
        ("{signal: probe.caption, text: {bad: STOP}, NJ}", Text(wanted={"bad": "STOP"})),
        (
            '{signal: slow.tally, rgb: {bad: "#FF0000"}, rgb-tolerance: 8, NJ}',
            RgbCodes(wanted={"bad": (255, 0, 0)}, tolerance=8),
        ),
        (
            "{signals: [probe.air, probe.share], chromaticity: {good: icao_green, bad: dark}, NJ}",
            Chromaticity(wanted={"good": "icao_green", "bad": None}),
        ),
        (
            "{signal: slow.tally, segments: {good: 1 to 2, bad: 3}, NJ}",
            Segments(wanted={"good": (1, 2), "bad": (3, 3)}),
        ),
        (
            "{signal: slow.tally, blink: {good: steady, bad: 1.4 Hz to 2.8 Hz}, NJ}",
            Blink(
                wanted={"good": (Decimal(0), Decimal(0)), "bad": (Decimal("1.4"), Decimal("2.8"))}
            ),
        ),
        (
            "{signal: probe.pressure, reading: "
            "{decimals: 1, rounding: half-even, tolerance: 0.1 bar, instead: {fault: '--'}}}",
            Reading(
                display=Displayed(decimals=1, rounding=Rounding.HALF_EVEN),
                tolerance=Decimal("0.1"),
                wanted={"fault": "--"},
            ),
        ),
    ],
)
def test_every_way_of_showing(tmp_path, rack, text, how):
    judged = text.replace("NJ", "not-judged: [good, bad, fault, stale, silent, start-up]")

    assert indicator(tmp_path, rack, judged).how == how


def test_several_signals_show_alike_or_together(tmp_path, rack):
    alike = f"{{signal: [slow.tally, probe.share], segments: {{good: 0, bad: 1}}, {NOT_JUDGED}}}"
    together = "{signals: [probe.air, probe.share, slow.tally], within: 50 ms, rgb: by colour}"
    spec = one(tmp_path, rack, (SHOWN, f"{SHOWN}\n      - {alike}\n      - {together}"))

    assert [one.signals for one in spec.indicators] == [
        ("probe.lamp",),
        ("slow.tally",),
        ("probe.share",),
        ("probe.air", "probe.share", "slow.tally"),
    ]
    assert spec.indicators[3].how.wanted["bad"] == (255, 0, 0)
    assert spec.indicators[3].within == 50 * MILLISECOND
    assert spec.indicators[1].not_judged == ("fault", "stale", "silent", "start-up")


def test_labels_by_colour_are_the_names_of_the_colours(tmp_path):
    coloured = BENCH.replace(
        "{0: off, 1: on, 2: no, 3: red}", "{0: off, 1: green, 2: blue, 3: red}"
    )
    rack = bench(tmp_path, coloured)
    text = changed((LABELS, "labels: by colour, not-judged: start-up"))
    (spec,) = read(tmp_path, rack, text)

    assert spec.indicators[0].how == Labels(
        wanted={"good": "green", "bad": "red", "fault": "blue", "stale": "blue", "silent": "blue"},
        cue=Cue.COLOUR,
    )


@pytest.fixture(scope="module")
def glasshouse():
    return read_rack(ROOT / "fixtures" / "glasshouse.yaml")


def test_the_demo_spec_reads(glasshouse):
    specs = read_alarms(ROOT / "fixtures" / "glasshouse-alarms.yaml", glasshouse)

    assert [spec.name for spec in specs] == [
        "Feed pressure",
        "Water level",
        "Dry run",
        "Air temperature",
        "Light",
    ]
    assert all(
        spec.requirements
        and all(band.requirements for band in spec.bands if band.name != spec.normal)
        for spec in specs
    )


def test_every_finding_about_the_demo_spec_is_accepted_with_a_reason(glasshouse):
    path = ROOT / "fixtures" / "glasshouse-alarms.yaml"
    reading = read_alarms_with_findings([path], glasshouse)

    assert reading.findings
    assert [str(one) for one in reading.findings if not one.accepted] == []


def test_the_demo_spec_names_the_trip_points_of_the_software_rack(glasshouse):
    specs = read_alarms(ROOT / "fixtures" / "glasshouse-alarms.yaml", glasshouse)
    settings = glasshouse.software.settings
    feed, water, dry_run, _, light = ({edge.alarm: edge for edge in edges(s)} for s in specs)

    def setting(name):
        return Decimal(settings[name].split()[0])

    band = setting("level-dead-band")
    assert setting("feed-low") == feed["low"].trip
    assert setting("feed-amber") == feed["high"].trip
    assert setting("feed-red") - setting("feed-dead-band") == feed["over"].reset
    assert setting("level-full") == water["full"].trip
    assert setting("level-low") + band == water["low"].reset
    assert setting("level-dry") == water["dry"].trip
    assert setting("dry-run-level") == dry_run["dry"].trip
    assert (setting("lamps-on"), setting("lamps-off")) == (light["dark"].trip, light["dark"].reset)


def test_what_a_proof_drives(tmp_path, rack):
    spec = one(
        tmp_path,
        rack,
        (
            "    agree-within",
            "    provoke: {driven-by: {signal: probe.angle, at-low: 90 deg, at-high: -90 deg}, "
            "silent: {probe.ghost: asleep}}\n    agree-within",
        ),
    )

    assert spec.means == Means(
        ways=(Way(what="silent", signal="probe.ghost", value="asleep"),),
        mark=spec.means.mark,
        line=Line(signal="probe.angle", at_low=Decimal(90), at_high=Decimal(-90)),
    )


def test_a_file_may_hold_several_specs_with_names_of_their_own(tmp_path, rack):
    second = ALARMS[ALARMS.index("  - spec") :].replace("spec: Pressure", "spec: Again")

    assert [spec.name for spec in read(tmp_path, rack, ALARMS + second)] == ["Pressure", "Again"]


def test_the_segment_bounds_how_soon_indicators_can_agree(glasshouse, tmp_path):
    specs = read_alarms(ROOT / "fixtures" / "glasshouse-alarms.yaml", glasshouse)
    feed, water = (longest_carry(spec, glasshouse) for spec in specs[:2])
    text = (ROOT / "fixtures" / "glasshouse-alarms.yaml").read_text("utf-8")
    (tmp_path / "soon.yaml").write_text(text.replace("agree-within: 150 ms", "agree-within: 1 us"))
    reading = read_alarms_with_findings([tmp_path / "soon.yaml"], glasshouse)

    assert feed is not None
    assert water is not None
    assert 0 < feed < 20 * MILLISECOND
    assert any("AL-303: beacon.lamp must agree within" in one.what for one in reading.errors)


def test_without_a_segment_nothing_is_said_about_it(tmp_path, rack):
    (spec,) = read(tmp_path, rack)

    assert longest_carry(spec, rack) is None
