"""Each finding of the review, on a spec that has it, and on one that does not."""

from decimal import Decimal

import pytest
from alarms.drawing import (
    COLOURS,
    LAMP,
    MARK,
    band,
    clears_at,
    delay,
    feed,
    high_alarm,
    lamp,
    no_reading,
    pressure,
    seconds,
    spec,
    start_up,
    tolerance,
    width,
)

from hil.alarms.edge import edges
from hil.alarms.finding import CODES
from hil.alarms.indicator import (
    Blink,
    Cue,
    Displayed,
    Indicator,
    Reading,
    RgbCodes,
    Rounding,
    Segments,
    Text,
)
from hil.alarms.review import review
from hil.alarms.spec import Acceptance, Counting, Meaning, Paint
from hil.core.signal import Kind, Signal

WIDE = Signal(node="feedline", name="pressure", kind=Kind.NUMBER, unit="bar", low=Decimal(0),
              high=Decimal(10), resolution=Decimal("0.01"))  # fmt: skip


def found(described, signal=None, **more):
    return review(described, signal or pressure(), **more)


def codes(described, signal=None, **more):
    return {one.code for one in found(described, signal, **more)}


def one(code, described, signal=None, **more):
    (finding,) = [one for one in found(described, signal, **more) if one.code == code]
    return finding


def three(green_to, amber, red_from, **more):
    low, high = amber
    return spec(
        band("green", None, green_to, owns=more.pop("green_owns", "none")),
        band("amber", low, high, owns=more.pop("amber_owns", "low")),
        band("red", red_from, None, owns=more.pop("red_owns", "low")),
        **more,
    )


def words(wanted):
    return Indicator(signals=("tile.caption",), how=Text(wanted=wanted), mark=MARK)


TOLD = {look: look.upper() for look in COLOURS}


# bands 0 to 5.0, 5.1 to 8.0, and from 8.0 up
def test_a_gap_and_an_overlap_are_named_with_an_example_in_counts():
    described = three(5, ("5.1", 8), 8, green_owns="high", amber_owns="both")

    assert one("AL-101", described, WIDE).why == "5.05 bar (count 505) is in no band"
    assert one("AL-103", described, WIDE).why.startswith("8.00 bar (count 800) is in two bands")


# with a step of 0.1 on the wire no count falls into the gap
def test_a_gap_between_two_counts_is_a_warning_only():
    described = three(5, ("5.1", 8), 8, green_owns="high")
    coarse = pressure(resolution=Decimal("0.1"))

    assert one("AL-102", described, coarse).why.startswith("5.05 bar is in no band")
    assert "AL-101" not in codes(described, coarse)


@pytest.mark.parametrize(
    ("green_owns", "amber_owns", "code"),
    [("none", "low", None), ("high", "none", None), ("none", "none", "AL-101"),
     ("high", "low", "AL-103")],
)  # fmt: skip
def test_an_edge_must_belong_to_exactly_one_band(green_owns, amber_owns, code):
    described = three(5, (5, 8), 8, green_owns=green_owns, amber_owns=amber_owns)
    about = codes(described, WIDE) & {"AL-101", "AL-102", "AL-103", "AL-104"}

    assert about == ({code} if code else set())


def test_an_overlap_between_two_counts_is_a_warning_only():
    described = three("5.009", ("5.001", 8), 8, green_owns="high")

    assert {"AL-104"} == codes(described, WIDE) & {"AL-103", "AL-104"}


def test_a_gap_at_either_end_of_the_range_is_found():
    described = spec(band("green", 1, 5, owns="low"), band("red", 5, 9, owns="low"))
    gaps = [one.why for one in found(described, WIDE) if one.code == "AL-101"]

    assert len(gaps) == 2
    assert "0.50 bar" in gaps[0] and "9.50 bar" in gaps[1]


@pytest.mark.parametrize(
    ("described", "why"),
    [
        (three(5, (5, 12), 12), "red lies outside the range"),
        (three(5, (5, 5), 5, amber_owns="low"), "amber contains no value"),
        (three("5.001", ("5.001", "5.009"), "5.009"), "no count of feedline.pressure"),
        (
            three(
                "5.01",
                ("5.01", "5.09"),
                "5.09",
                displayed_decides=True,
                display=Displayed(decimals=1, rounding=Rounding.HALF_AWAY),
            ),
            "no value as displayed falls into amber",
        ),
    ],
)
def test_a_band_out_of_reach_is_found(described, why):
    assert why in one("AL-105", described, WIDE).why


def test_bands_out_of_order_are_found():
    # OPC UA Part 9, 5.8.22.1: the lowest limit must lie below the low one: with Low -2,
    # LowLow -1 is invalid and -3 is valid
    def deviation(lowest):
        return spec(
            band("lowest", None, lowest, owns="none"),
            band("low", lowest, -2, owns="low"),
            band("green", -2, None, owns="low"),
            low="-10",
            high="10",
        )

    wide = pressure(low=Decimal(-10))
    assert {"AL-105", "AL-103"} & codes(deviation(-1), wide)
    assert not {"AL-105", "AL-103", "AL-106"} & codes(deviation(-3), wide)
    swapped = spec(band("red", 8, None), band("green", None, 8, owns="none"))
    assert "AL-106" in codes(swapped)


def test_a_band_without_a_trip_point_is_found():
    described = spec(band("green", None, 5, owns="none"), band("red", None, None))

    assert any("has no edge" in one.why for one in found(described) if one.code == "AL-106")


@pytest.mark.parametrize(("upper", "code"), [("5.03", True), ("5.04", False)])
def test_a_band_narrower_than_twice_the_accuracy_is_found(upper, code):
    described = three(5, (5, upper), upper)  # good to ± 0.02 bar

    assert code is ("AL-107" in codes(described))


def test_a_band_narrower_than_a_count_is_found():
    described = three(5, ("5", "5.005"), "5.005")

    assert one("AL-108", described, WIDE).where == ("amber",)


def test_a_trip_point_between_two_counts_says_where_it_trips():
    assert "trips at 5.01 bar (count 501)" in one("AL-109", high_alarm("5.005", high="10")).why


# limit 70, clears at 75
def test_a_dead_band_on_the_wrong_side_is_an_error():
    described = high_alarm("7", high="10", dead_band=clears_at("7.5"))

    assert one("AL-201", described).severity.value == "error"
    assert "AL-201" in codes(high_alarm("7", high="10", dead_band=width("-1")))


# limit 70 degC, clears at 28 degC: a dead band of 42 K
def test_an_implausibly_wide_dead_band_names_its_width():
    hot = Signal(node="mast", name="temperature", kind=Kind.NUMBER, unit="degC",
                 low=Decimal(-40), high=Decimal(85))  # fmt: skip
    told = {"signal": "mast.temperature", "unit": "degC", "low": "-40", "high": "85"}

    def limit(dead_band):
        return spec(
            band("green", None, 70, owns="none"), band("red", 70, None, dead_band=dead_band), **told
        )

    assert (
        "the dead band of red is 42 degC, 34 % of the range"
        in one("AL-205", limit(clears_at("28")), hot).why
    )
    assert "AL-205" not in codes(limit(width("5")), hot)


@pytest.mark.parametrize(("amount", "code"), [("0.91", True), ("0.90", False)])
def test_a_dead_band_wider_than_the_band_it_reaches_into_is_found(amount, code):
    described = spec(
        band("green", None, "3.60", owns="none"),
        band("amber", "3.60", "4.50"),
        band("red", "4.50", None, dead_band=width(amount)),
    )

    assert code is ("AL-202" in codes(described))


@pytest.mark.parametrize(
    ("dead_band", "code"),
    [(width("7"), False), (width("7", level_clears=False), True), (width("8"), True)],
)
def test_an_alarm_that_no_value_clears_is_an_error(dead_band, code):
    assert code is ("AL-203" in codes(high_alarm("7", high="10", dead_band=dead_band)))


@pytest.mark.parametrize(
    ("dead_band", "code"), [(None, True), (width("0.02"), True), (width("0.03"), False)]
)
def test_a_dead_band_within_the_noise_is_found(dead_band, code):
    described = high_alarm("7", high="10", dead_band=dead_band)  # ± 0.01 bar

    assert code is ("AL-204" in codes(described))
    assert "AL-204" not in codes(described, WIDE)


def test_a_dead_band_below_one_count_is_found():
    assert "AL-206" in codes(high_alarm("7", high="10", dead_band=width("0.005")), WIDE)


def timed(**more):
    return high_alarm("7", high="10", dead_band=width("0.2"), **more)


@pytest.mark.parametrize(("length", "code"), [(0.05, True), (0.1, False)])
def test_a_delay_shorter_than_sampling_or_bus_is_found(length, code):
    sampled, carried = pressure(sampling=seconds(0.1)), seconds(0.1)
    described = timed(on_delay=delay(length))

    assert code is ("AL-301" in codes(described, sampled))
    assert code is ("AL-302" in codes(described, carry=carried))
    assert not {"AL-301", "AL-302"} & codes(described)


def test_an_agreement_time_below_sampling_and_bus_is_an_error():
    sampled = pressure(sampling=seconds(0.1))
    allowed = {"carry": seconds(0.1)}

    assert "AL-303" in codes(feed(agreement=seconds(0.19)), sampled, **allowed)
    assert "AL-303" not in codes(feed(agreement=seconds(0.2)), sampled, **allowed)


@pytest.mark.parametrize(("age", "code"), [(0.1, True), (0.11, False), (None, False)])
def test_a_value_that_is_stale_before_the_next_one_is_an_error(age, code):
    rules = no_reading(stale_after=None if age is None else seconds(age))

    assert code is ("AL-304" in codes(feed(no_reading=rules), pressure(sampling=seconds(0.1))))


def test_a_hold_shorter_than_the_warm_up_is_found():
    warm = pressure(warmup=seconds(1))

    assert "AL-305" in codes(feed(start_up=start_up(0.5)), warm)
    assert "AL-305" not in codes(feed(start_up=start_up(1)), warm)


def test_accumulated_time_that_is_never_forgotten_is_an_advice():
    endless = delay(5, Counting.ACCUMULATED)

    assert one("AL-306", timed(on_delay=endless)).severity.value == "advice"
    forgets = delay(5, Counting.ACCUMULATED, forget_after=seconds(60))
    assert "AL-306" not in codes(timed(on_delay=forgets))


def test_silence_before_staleness_is_found():
    rules = no_reading(stale_after=seconds(2), silent_after=seconds(1))

    assert "AL-307" in codes(feed(no_reading=rules))


def test_a_delay_tolerance_finer_than_the_sampling_is_found():
    sampled = pressure(sampling=seconds(0.1))
    given = {"on_delay": delay(5)}
    fine = spec(band("green", None, 5, owns="none"), band("red", 5, None, **given),
                tolerance=tolerance(time=0.05))  # fmt: skip
    loose = spec(band("green", None, 5, owns="none"), band("red", 5, None, **given),
                 tolerance=tolerance(time=0.1))  # fmt: skip

    assert "AL-308" in codes(fine, sampled)
    assert "AL-308" not in codes(loose, sampled)


ONE_DECIMAL = Displayed(decimals=1, rounding=Rounding.HALF_AWAY)


# red from 80.0, one decimal shown: 79.95 and 79.96 read 80.0 in amber
def test_a_displayed_value_in_another_colour_is_named_with_examples():
    hundred = pressure(high=Decimal(100))
    described = spec(
        band("amber", None, "80.0", owns="none"), band("red", "80.0", None), normal="amber",
        high="100", display=ONE_DECIMAL,
    )  # fmt: skip
    finding = one("AL-401", described, hundred)

    assert "79.95 bar (count 7995) to 79.99 bar (count 7999) read 80.0 bar in amber" in finding.why
    assert "AL-401" not in codes(described, pressure(high=Decimal(100), resolution=Decimal("0.1")))


def test_an_indicator_that_shows_the_number_counts_as_a_display():
    shown = Reading(display=ONE_DECIMAL, tolerance=Decimal(0), wanted={})
    reader = Indicator(signals=("console.feed-reading",), how=shown, mark=MARK)

    assert "AL-401" in codes(feed(indicators=(reader,)))
    assert "AL-401" not in codes(feed(display=ONE_DECIMAL, displayed_decides=True))


def test_a_trip_point_that_is_never_displayed_is_found_where_the_display_decides():
    decides = {"display": ONE_DECIMAL, "displayed_decides": True}

    assert one("AL-402", three("4.55", ("4.55", 8), 8, **decides)).where == ("amber",)
    assert "AL-402" not in codes(feed(**decides))


def test_a_dead_band_lost_in_the_rounding_is_found():
    decides = {"display": Displayed(decimals=0, rounding=Rounding.HALF_AWAY),
               "displayed_decides": True}  # fmt: skip

    assert {"low", "amber", "red"} == {
        one.where[0] for one in found(feed(**decides)) if one.code == "AL-403"
    }


def test_adjacent_bands_of_one_colour_need_a_second_cue():
    same = three(5, (5, 8), 8, palette=(Paint(name="amber", rgb=(0, 255, 0), mark=MARK),))
    told = three(5, (5, 8), 8, palette=(Paint(name="amber", rgb=(0, 255, 0), mark=MARK),),
                 indicators=(words(TOLD),))  # fmt: skip

    assert one("AL-501", same).where == ("green", "amber")
    assert "AL-501" not in codes(told)


def test_colours_that_some_people_confuse_are_lessened_by_a_second_cue():
    alone, told = feed(), feed(indicators=(lamp(), words(TOLD)))

    assert {("low", "green"), ("green", "amber"), ("amber", "red")} == {
        one.where for one in found(alone) if one.code == "AL-502"
    }
    assert "deutan" in found(alone)[0].why
    assert "AL-502" not in codes(told)
    assert all("text helps" in one.why for one in found(told) if one.code == "AL-503")
    both = feed(indicators=(lamp(cue=Cue.POSITION), words(TOLD)))
    assert "AL-503" in codes(both)
    assert all(one.why.endswith("text help") for one in found(both) if one.code == "AL-503")


@pytest.mark.parametrize(
    ("how", "helps"),
    [
        (Blink(wanted={**dict.fromkeys(COLOURS, (Decimal(0),) * 2), "red": (Decimal(2),) * 2}),
         True),
        (Segments(wanted={**dict.fromkeys(COLOURS, (0, 2)), "red": (7, 8)}), True),
        (Segments(wanted=dict.fromkeys(COLOURS, (0, 8))), False),
        (Reading(display=ONE_DECIMAL, tolerance=Decimal(0), wanted={}), False),
        (RgbCodes(wanted={"amber": (255, 191, 0), "red": (255, 0, 0)}, tolerance=8), False),
    ],
)  # fmt: skip
def test_what_counts_as_a_second_cue(how, helps):
    described = feed(indicators=(lamp(), Indicator(signals=("x.y",), how=how, mark=MARK)))
    about = {one.code for one in found(described) if one.where == ("amber", "red")}

    assert about == {"AL-503" if helps else "AL-502"}


def test_a_colour_against_its_usual_meaning_is_found():
    swapped = spec(band("good", None, 5, "red", owns="none"), band("bad", 5, None, "green"),
                   normal="good")  # fmt: skip
    about = {one.where[0] for one in found(swapped) if one.code == "AL-504"}

    assert about == {"good", "bad"}
    assert "AL-504" not in codes(feed())


def test_a_paint_of_its_own_may_state_its_meaning():
    paint = Paint(name="teal", rgb=(0, 128, 128), mark=MARK, meaning=Meaning.NORMAL)
    told = spec(band("green", None, 5, "teal", owns="none"), band("red", 5, None), palette=(paint,))
    untold = spec(band("green", None, 5, "teal", owns="none"), band("red", 5, None))

    assert not {"AL-504", "AL-510"} & codes(told)
    assert one("AL-510", untold).where == ("green",)


# WCAG 2, success criterion 2.3.1 (from memory): three flashes a second at most
@pytest.mark.parametrize(
    ("slowest", "fastest", "code"),
    [
        ("2", "3.1", "AL-505"),
        ("2.9", "3", "AL-506"),
        ("1.4", "2.8", None),
        ("0.5", "0.5", None),
        ("1", "1", "AL-506"),
        ("0", "0", None),
    ],
)
def test_flash_rates(slowest, fastest, code):
    how = Blink(wanted={**dict.fromkeys(COLOURS, (Decimal(0), Decimal(0))),
                        "red": (Decimal(slowest), Decimal(fastest))})  # fmt: skip
    described = feed(indicators=(Indicator(signals=("beacon.blink",), how=how, mark=MARK),))

    assert codes(described) & {"AL-505", "AL-506"} == ({code} if code else set())


# a fault has its own colour
@pytest.mark.parametrize(
    ("colour", "like"), [("green", "green"), ("red", "red"), ("blue", None), ("white", None)]
)
def test_a_missing_reading_may_look_like_no_band(colour, like):
    described = feed(no_reading=no_reading(fault_colour=colour))
    about = {one.where for one in found(described) if one.code == "AL-507"}

    assert about == ({("fault", like)} if like else set())


def test_dashes_instead_of_a_number_tell_a_missing_reading_apart():
    shown = Reading(display=ONE_DECIMAL, tolerance=Decimal(0), wanted={})
    reader = Indicator(signals=("console.feed-reading",), how=shown, mark=MARK)
    described = feed(no_reading=no_reading(fault_colour="red"), indicators=(lamp(), reader))

    assert "AL-507" not in codes(described)


def test_an_indicator_must_have_something_to_show_for_every_state():
    short = {look: colour for look, colour in COLOURS.items() if look not in ("silent", "red")}
    finding = one("AL-508", feed(indicators=(lamp(short),)))

    assert finding.where == ("red", "silent", LAMP)


def test_an_indicator_must_know_the_label():
    knows = Signal(node="beacon", name="lamp", kind=Kind.LABEL, labels=("off", "green", "red"))
    about = {one.where[0] for one in found(feed(), signals={LAMP: knows}) if one.code == "AL-508"}

    assert about == {"low", "amber", "fault", "stale", "silent"}


def test_an_indicator_in_another_colour_than_its_band_is_found():
    swapped = {**COLOURS, "amber": "red", "red": "amber"}
    about = {
        one.where[0] for one in found(feed(indicators=(lamp(swapped),))) if one.code == "AL-509"
    }

    assert about == {"amber", "red"}
    arrows = lamp(dict.fromkeys(COLOURS, "red"), cue=Cue.SHAPE)
    assert "AL-509" not in codes(feed(indicators=(lamp(), arrows)))


# starting points of alarm practice (from memory): pressure 2 % of the range and 15 s
@pytest.mark.parametrize(
    ("amount", "length", "wanted"),
    [
        ("0.2", 15, set()),
        ("0.1", 7.5, set()),
        ("0.4", 30, set()),
        ("0.09", 15, {"AL-601"}),
        ("0.5", 15, {"AL-601"}),
        ("0.2", 1, {"AL-602"}),
        ("0.2", 31, {"AL-602"}),
    ],
)
def test_usual_starting_points_are_advice(amount, length, wanted):
    described = high_alarm("7", high="10", dead_band=width(amount), on_delay=delay(length))
    about = [one for one in found(described) if one.code.startswith("AL-6")]

    assert {one.code for one in about} == wanted
    assert all(one.severity.value == "advice" and "from memory" in one.why for one in about)


def test_an_unknown_quantity_gets_no_advice():
    described = high_alarm("7", high="10")
    lux = spec(*described.bands, unit="lx")

    assert not {"AL-601", "AL-602"} & codes(lux)


def test_an_accepted_finding_is_kept_with_its_reason():
    reason = "a technician with normal vision, see the show's rules"
    described = feed(accepted=(Acceptance(code="AL-502", reason=reason, mark=MARK, where="red"),))
    about = {one.where: one.accepted for one in found(described) if one.code == "AL-502"}

    assert about == {("low", "green"): "", ("green", "amber"): "", ("amber", "red"): reason}


def test_accepting_what_is_not_there_or_an_error_is_a_finding():
    idle = feed(accepted=(Acceptance(code="AL-101", reason="so be it", mark=MARK),))
    gap = three(5, ("5.1", 8), 8,
                accepted=(Acceptance(code="AL-101", reason="so be it", mark=MARK),))  # fmt: skip

    assert "AL-001" in codes(idle)
    assert {"AL-002", "AL-101"} <= codes(gap)
    assert one("AL-101", gap).accepted == ""


def test_a_sound_spec_has_no_finding_but_usual_practice():
    described = feed(indicators=(lamp(), words(TOLD)))

    assert {"AL-503", "AL-602"} == codes(described)


def test_every_code_is_documented_in_order_and_findings_read_well():
    assert list(CODES) == sorted(CODES)
    for finding in found(feed(), pressure(sampling=seconds(0.1), warmup=seconds(1))):
        assert str(finding).startswith("alarms.yaml:1:1: AL-")
        assert finding.code in CODES and finding.title
        assert not finding.why.endswith(".") and not finding.advice.endswith(".")


def test_a_spec_whose_trip_point_is_missing_still_has_its_other_edges():
    described = spec(
        band("green", None, 5, owns="none"), band("amber", 5, 8), band("red", None, None)
    )

    assert [edge.alarm for edge in edges(described)] == ["amber"]


def test_what_is_exactly_on_a_threshold_of_the_review_is_fine():
    exact = high_alarm("7", high="10", dead_band=width("2"))  # 20 % of the range
    count = high_alarm("7", high="10", dead_band=width("0.01"))
    one_count_wide = three(5, (5, "5.01"), "5.01")
    ages = feed(no_reading=no_reading(stale_after=seconds(1), silent_after=seconds(1)))

    assert "AL-205" not in codes(exact)
    assert "AL-206" not in codes(count, WIDE)
    assert "AL-108" not in codes(one_count_wide, WIDE)
    assert "AL-307" not in codes(ages)


def test_a_dead_band_of_one_displayed_step_is_not_lost():
    decides = {"display": ONE_DECIMAL, "displayed_decides": True}
    described = spec(
        band("green", None, 5, owns="none"), band("red", 5, None, dead_band=width("0.1")), **decides
    )

    assert "AL-403" not in codes(described)


@pytest.mark.parametrize(("level", "code"), [("10", False), ("10.01", True)])
def test_a_low_alarm_that_no_value_clears_is_an_error(level, code):
    described = spec(
        band("red", None, 3, owns="high", dead_band=clears_at(level)),
        band("green", 3, None, owns="none"),
    )

    assert code is ("AL-203" in codes(described))
