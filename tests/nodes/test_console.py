"""The head unit's decisions, seen on the wire."""

import pytest
from nodes.hand import FAULT, MS, POWER, Operator

GREEN, AMBER, RED, BLUE = 1, 2, 3, 4
OFF, MANUAL, SUN, CLIMATE = range(4)
X, Y, SELECTOR, VANE = 2, 3, 4, 5
LIGHT, TEMPERATURE, ANGLE_OF_SUN = 2, 3, 6


@pytest.fixture
def tool() -> Operator:
    """A rack that has found itself."""
    operator = Operator()
    operator.listen()
    operator.run(1_000)
    return operator


def circulator(tool: Operator) -> tuple[int, ...]:
    tool.ask("circulator", 1)
    tool.run(10)
    return tool.last("circulator")


def colours(tool: Operator) -> tuple[int, int, int]:
    return tool.last("beacon")[0], tool.last("tile")[0], tool.last("console")[1]


@pytest.mark.parametrize(
    ("way", "colour"),
    [
        ([359], GREEN),
        ([360], AMBER),
        ([449], AMBER),
        ([450], RED),
        ([400, 346], AMBER),
        ([400, 345], GREEN),
        ([800, 436], RED),
        ([800, 435], AMBER),
        ([800, 240], GREEN),
        ([101], GREEN),
        ([100], AMBER),
        ([50, 114], AMBER),
        ([50, 115], GREEN),
        ([50, 500], RED),
    ],
)
def test_pressure_shows_its_colour_everywhere(tool: Operator, way: list[int], colour: int) -> None:
    for pressure in way:
        tool.ask("feedline", 2, pressure)
        tool.run(250)

    assert (colour, colour, colour) == colours(tool)


def test_colour_follows_within_a_deadline_of_100_ms(tool: Operator) -> None:
    asked = tool.now
    tool.ask("feedline", 2, 480)
    tool.run(300)

    for node, place in (("beacon", 0), ("tile", 0), ("console", 1)):
        assert 10 < tool.when(node, lambda raw, at=place: raw[at] == RED, asked) < 100


@pytest.mark.parametrize(("count", "shown"), [(244, 24), (245, 25), (254, 25), (255, 26), (0, 0)])
def test_display_rounds_half_upward(tool: Operator, count: int, shown: int) -> None:
    tool.ask("feedline", 2, count)
    tool.run(300)

    assert shown == tool.last("console")[2]


@pytest.mark.parametrize(
    ("distance", "segments", "colour", "band"),
    [(600, 6, GREEN, 3), (1260, 2, AMBER, 2), (1440, 0, RED, 1), (360, 8, AMBER, 4)],
)
def test_level_shows_on_bar_and_head_unit(
    tool: Operator, distance: int, segments: int, colour: int, band: int
) -> None:
    tool.ask("cistern", 2, distance)
    tool.run(400)

    assert (segments, colour) == tool.last("cistern")[2:4]
    assert band == tool.last("console")[5]


def test_cut_wire_is_blue_and_never_red(tool: Operator) -> None:
    tool.ask("feedline", 2, 480)
    tool.run(200)
    since = tool.now
    tool.ask("feedline", FAULT, 1)
    tool.run(400)

    assert colours(tool) == (BLUE, BLUE, BLUE)
    assert tool.last("console")[2] == 0xFF
    assert all(r.raw[0] in (RED, BLUE) for r in tool.readings["beacon"] if r.at > since)


def test_silence_is_blue_after_half_a_second(tool: Operator) -> None:
    last = tool.readings["feedline"][-1].at
    asked = tool.now
    tool.ask("feedline", FAULT, 3)
    tool.run(1_000)
    blue = tool.when("beacon", lambda raw: raw[0] == BLUE, asked)

    assert 400 < blue < 620
    assert blue >= (last - asked) / MS + 500


def test_silence_ends_with_the_next_reading(tool: Operator) -> None:
    tool.ask("feedline", FAULT, 3)
    tool.run(1_000)
    tool.ask("feedline", FAULT, 0)
    tool.run(200)

    assert colours(tool) == (GREEN, GREEN, GREEN)


@pytest.mark.parametrize("vane", [1, 2, 3, 4])
def test_stick_drives_the_selected_vane_only(tool: Operator, vane: int) -> None:
    tool.ask("pendant", VANE, vane)
    tool.ask("pendant", SELECTOR, MANUAL)
    tool.ask("pendant", Y, 80)
    tool.run(800)
    positions = list(tool.last("louvres")[4:8])

    assert positions.pop(vane - 1) == 360
    assert positions == [0, 0, 0]


@pytest.mark.parametrize(
    ("x", "y", "way"),
    [(0, 60, 1), (60, 0, 2), (0, -60, 3), (-60, 0, 4), (50, -50, 3), (10, 10, 0), (11, 0, 2)],
)
def test_stick_shows_its_direction(tool: Operator, x: int, y: int, way: int) -> None:
    tool.ask("pendant", SELECTOR, MANUAL)
    tool.ask("pendant", X, x)
    tool.ask("pendant", Y, y)
    tool.run(200)

    assert (way, way) == (tool.last("tile")[1], tool.last("console")[7])


def test_off_mode_leaves_actuators_to_the_tool(tool: Operator) -> None:
    tool.ask("louvres", 12, 250)
    tool.ask("pendant", Y, 90)
    tool.ask("mast", ANGLE_OF_SUN, 500)
    tool.ask("mast", LIGHT, 100)
    tool.run(1_500)

    assert tool.last("louvres")[4:8] == (0, 250, 0, 0)
    assert tool.last("lamps")[0] == 0


def test_sun_mode_turns_all_vanes_and_parks_them_afterwards(tool: Operator) -> None:
    tool.ask("mast", ANGLE_OF_SUN, -300)
    tool.ask("pendant", SELECTOR, SUN)
    tool.run(900)
    following = tool.last("louvres")[4:8]
    tool.ask("pendant", SELECTOR, OFF)
    tool.run(900)

    assert following == tuple(pytest.approx(-300, abs=2) for _ in range(4))
    assert tool.last("louvres")[4:8] == (0, 0, 0, 0)


@pytest.mark.parametrize(
    ("air", "tint", "duty"), [(2000, 1, 40), (2500, 2, 50), (2200, 0, 10), (-1000, 1, 100)]
)
def test_climate_mode_heats_and_cools(tool: Operator, air: int, tint: int, duty: int) -> None:
    tool.ask("mast", TEMPERATURE, air)
    tool.run(1_500)
    tool.ask("pendant", SELECTOR, CLIMATE)
    tool.run(1_500)
    seen = circulator(tool)

    assert (duty, tint) == (pytest.approx(seen[0], abs=2), seen[2])
    assert seen[1] == pytest.approx(30 * duty, abs=65)


def test_climate_mode_begins_without_a_memory(tool: Operator) -> None:
    tool.ask("mast", TEMPERATURE, 2500)
    tool.ask("pendant", SELECTOR, CLIMATE)
    tool.run(1_000)
    tool.ask("pendant", SELECTOR, OFF)
    tool.ask("mast", TEMPERATURE, 2230)  # inside the dead band of cooling
    tool.run(1_000)
    tool.ask("pendant", SELECTOR, CLIMATE)
    tool.run(1_000)

    assert circulator(tool)[2] == 0


def test_target_is_worked_with_at_once(tool: Operator) -> None:
    tool.ask("pendant", SELECTOR, CLIMATE)
    tool.run(500)
    tool.ask("console", 2, 300)
    tool.run(30)

    assert (circulator(tool)[0], circulator(tool)[2]) == (100, 1)


@pytest.mark.parametrize(
    ("way", "switches"), [([4010], 0), ([3990], 3), ([3000, 5990], 3), ([3000, 6010], 0)]
)
def test_lamps_switch_by_light_with_a_dead_band(
    tool: Operator, way: list[int], switches: int
) -> None:
    tool.ask("pendant", SELECTOR, SUN)
    for light in way:
        tool.ask("mast", LIGHT, light)
        tool.run(500)

    assert switches == tool.last("lamps")[0]


def test_restarted_sensor_raises_no_alarm_and_is_listened_to_again(tool: Operator) -> None:
    since = tool.now
    tool.ask("feedline", POWER, 1)
    tool.run(1_000)
    tool.ask("feedline", 2, 480)
    tool.run(200)
    before_alarm = [r.raw[0] for r in tool.readings["beacon"] if since < r.at < since + 1_000 * MS]

    assert {GREEN} == set(before_alarm)
    assert tool.last("beacon")[0] == RED


def test_restarted_beacon_is_told_again(tool: Operator) -> None:
    tool.ask("beacon", POWER, 1)
    tool.run(220)
    dark = tool.last("beacon")[0]
    tool.listen("beacon")
    tool.run(1_500)

    assert (dark, tool.last("beacon")[0]) == (0, GREEN)


def test_restarted_head_unit_finds_its_state_again(tool: Operator) -> None:
    tool.ask("feedline", 2, 400)
    tool.run(200)
    tool.ask("console", POWER, 1)
    tool.run(220)
    first = tool.last("console")[1]
    tool.listen("console")
    tool.run(500)

    assert (first, tool.last("console")[1]) == (0, AMBER)
