"""`hil get`, `hil set`, `hil watch` and `hil wire` as people call them, without a wire."""

import json

import pytest
from click.testing import CliRunner

from hil.cli.main import main
from hil.core.instant import show_duration
from hil.runner.onlooker import DRAIN_EVERY

# The worked example of fixtures/glasshouse.yaml: 513 counts of 0.01 bar from node 1.
READING = (
    "31 01 02 BC 00 01 11 7C 00 01 47 48 2D 30 31 30 31 00 31 2E 34 2E 32 00 02 01 00 00 A8 19"
)


@pytest.fixture
def hil(request, monkeypatch):
    monkeypatch.chdir(request.config.rootpath)
    return lambda *words, **more: CliRunner().invoke(main, words, **more)


# --- get ------------------------------------------------------------------------------------------


def test_values_are_read_with_unit_and_age(hil):
    ended = hil("get", "feedline.pressure", "beacon.lamp", "circulator.speed", "--virtual")
    rows = [line.split() for line in ended.output.splitlines()]

    assert ended.exit_code == 0
    assert [row[:2] for row in rows] == [
        ["feedline.pressure", "2.40"],
        ["beacon.lamp", "green"],
        ["circulator.speed", "0"],
    ]
    assert all(row[-1] == "old" for row in rows)


def test_a_node_and_a_pattern_stand_for_their_signals(hil):
    rows = hil("get", "pendant", "*.bar-*", "--virtual").output.splitlines()

    assert [row.split()[0] for row in rows] == [
        *(f"pendant.{name}" for name in ("stick-x", "stick-y", "selector", "vane-select")),
        *("pendant.fault", "pendant.power", "cistern.bar-segments", "cistern.bar-colour"),
    ]


def test_the_octets_are_shown_where_they_are_asked_for(hil):
    first, *_, last = hil(
        "get", "feedline.pressure", "lamps.strip-2.switch", "--raw", "--virtual"
    ).output.splitlines()

    assert first.endswith("00f0 in octets 24 to 25")  # 240 counts of 0.01 bar
    assert last.startswith("lamps, 33 octets: 31 06 ")


def test_a_line_of_a_console_is_shown_as_text(hil):
    ended = hil("get", "doser.rate", "--raw", "--virtual", "--bench", "fixtures/doser.yaml")

    assert "doser, 82 octets: status boots=2 rate=0 valve=closed tank=800" in ended.output


def test_a_name_that_is_none_is_exit_code_two_with_the_nearest(hil):
    ended = hil("get", "feedline.presure", "--virtual")

    assert ended.exit_code == 2
    assert "there is no signal `feedline.presure` on this bench" in ended.output
    assert "try: feedline.pressure" in ended.output


@pytest.mark.parametrize("text", ["2 s", "2s", "1.5s", "900ms", "1min"])
def test_a_limit_may_stand_there_without_a_blank(hil, text):
    assert hil("get", "feedline.pressure", "--within", text, "--virtual").exit_code == 0


@pytest.mark.parametrize("text", ["5", "5 bar", "5bar", "0 s", "0s", "-1 s", "soon", "", "1h2m"])
def test_a_limit_must_be_a_duration(hil, text):
    assert hil("get", "feedline.pressure", "--within", text, "--virtual").exit_code == 2


# --- set and watch --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (
            ("feedline.pressure", "19 bar"),
            "outside the range of feedline.pressure, 0 bar to 10 bar",
        ),
        (("feedline.pressure", "-5", "bar"), "outside the range"),
        (("cistern.level", "5 %"), "cistern.level cannot be driven"),
        (("beacon.lamp",), "has no value"),
    ],
)
def test_what_may_not_be_driven_is_refused_before_anything_is_opened(hil, words, what):
    ended = hil("set", *words)

    assert ended.exit_code == 2
    assert what in ended.output
    assert "nothing ran" in ended.output


def test_virtual_and_served_exclude_each_other(hil):
    assert hil("set", "beacon.lamp", "red", "--virtual", "--served").exit_code == 2


@pytest.mark.parametrize("words", [("nowhere",), ("--alarms", "nowhere.yaml"), ("--every", "2")])
def test_what_cannot_be_watched_is_exit_code_two(hil, words):
    assert hil("watch", "--virtual", *words).exit_code == 2


def test_nothing_is_shown_more_often_than_it_is_read(hil):
    ended = hil("watch", "--virtual", "--every", "19 ms", "--for", "1 s")

    assert ended.exit_code == 2
    assert f"expected at least {show_duration(DRAIN_EVERY)}" in ended.output


# --- wire -----------------------------------------------------------------------------------------


def test_octets_are_taken_apart(hil):
    ended = hil("wire", *READING.split())
    lines = ended.output.splitlines()

    assert ended.exit_code == 0
    assert lines[0] == "feedline-reading of feedline: a reading of 30 octets, as declared"
    assert lines[2:5] == [
        "octet   0  1  2  3  4  5  6  7  8  9 10 11 12 13 14 15",
        "       31 01 02 bc 00 01 11 7c 00 01 47 48 2d 30 31 30",
        "        1  2 └─3─┘ └─uptime──┘ └─5─┘ └────serial──────",
    ]
    assert any(
        line.split() == ["8", "24", "to", "25", "pressure", "0201", "5.13", "bar"] for line in lines
    )


def test_every_line_of_the_picture_stands_under_its_octets(hil):
    """A field's line is as long as its octets: two digits and a blank each."""
    lines = hil("wire", READING).output.splitlines()
    octets, fields = lines[3], lines[4]

    assert octets.index("00 01 11 7c") == fields.index("└─uptime──┘")
    assert len("00 01 11 7c") == len("└─uptime──┘")


def test_a_wrong_crc_is_marked_and_exit_code_one(hil):
    ended = hil("wire", READING[:-1] + "8")
    lines = ended.output.splitlines()
    mark = next(line for line in lines if "^^" in line)

    assert ended.exit_code == 1
    assert (
        "nearest:  feedline-reading of feedline: CRC wrong: holds A8 18, should be A8 19"
        in ended.output
    )
    assert mark == " " * 43 + "^^ ^^ first difference"
    assert lines[lines.index(mark) - 2][43:48] == "a8 18"


def test_what_is_cut_off_is_shown_as_missing(hil):
    ended = hil("wire", "31 01 02")

    assert ended.exit_code == 1
    assert "31 01 02 -- -- --" in ended.output
    assert "^^ first missing octet" in ended.output


def test_the_layouts_of_one_node_alone(hil):
    ended = hil("wire", READING, "--node", "tile")

    assert ended.exit_code == 1
    assert "these 30 octets fit none of 5 layouts" in ended.output
    assert "the datagram is of node 1, tile is 8" in ended.output
    assert hil("wire", READING, "--node", "tyle").exit_code == 2


def test_lines_of_a_journal_are_read_from_standard_input(hil):
    octets = READING.replace(" ", "").lower()
    line = json.dumps(
        {"at": 5, "event": "datagram", "way": "in", "node": "feedline", "hex": octets}
    )
    ended = hil("wire", input=f"{line}\n\n{READING}\n")

    assert ended.exit_code == 0
    assert ended.output.count("feedline-reading of feedline") == 2


def test_what_is_no_octets_is_told_line_by_line(hil):
    ended = hil("wire", input="31 01\npressure\n3\n")

    assert ended.exit_code == 2
    assert "standard input:2:1: 'p' is no hex digit" in ended.output
    assert "standard input:3:1: '3' has an odd number of hex digits" in ended.output
    assert hil("wire", "31 0").exit_code == 2
    assert hil("wire", input="\n").exit_code == 2


def test_nothing_at_all_and_very_much_are_pictures_too(hil):
    assert "empty datagram" in hil("wire", "").output
    long = hil("wire", "31" * 2_000)

    assert long.exit_code == 1
    assert "and 1360 octets more" in long.output


ANNOUNCE = "52 01 00 01 11 7C 00 01 41 58 2D 30 32 30 31 00 31 2E 34 2E 32 00 B5 56"
"""The worked example of fixtures/annexe.yaml."""


@pytest.mark.parametrize(
    ("octets", "code", "said"),
    [
        ("51 AB 24", 0, "who-is-there: an ask of 3 octets, as declared"),
        (ANNOUNCE, 0, "announce of feedline: an announce of 24 octets, as declared"),
        (
            ANNOUNCE[:-1] + "7",
            1,
            "nearest:  announce of feedline: CRC wrong: holds B5 57, should be B5 56",
        ),
        ("51", 1, "this 1 octet fits none of 8 layouts\n  nearest:  who-is-there: length 1"),
    ],
)
def test_what_finds_nodes_is_taken_apart_as_well(hil, octets, code, said):
    ended = hil("wire", octets, "--bench", "fixtures/annexe.yaml")

    assert ended.exit_code == code
    assert said in ended.output


def test_lines_of_a_console_are_told_by_what_they_are(hil):
    line = {"event": "console-line", "node": "doser", "text": "boot 2: doser 2.3.0", "hex": ""}
    lines = [json.dumps(line), json.dumps({**line, "text": "bo\\xff", "hex": "62 6f ff"})]
    ended = hil("wire", "--bench", "fixtures/doser.yaml", input="\n".join(lines))

    assert ended.exit_code == 1
    assert ended.output.splitlines() == [
        "a line on the console of doser, 19 octets: the boot line",
        "  boot 2: doser 2.3.0",
        "",
        "  boots  2",
        "",
        "a line on the console of doser, 3 octets: it fits no pattern of the bench file: log",
        "  bo\\xff",
    ]


@pytest.mark.parametrize(
    ("octets", "said"),
    [  # the request and the answer of RFC 7252 appendix A, figure 16
        ("40 01 7d 34 bb 74 65 6d 70 65 72 61 74 75 72 65", "confirmable 0.01 GET"),
        ("60 45 7d 34 ff 32 32 2e 33 20 43", "acknowledgement 2.05 Content"),
    ],
)
def test_a_coap_message_is_read_on_a_bench_with_coap_nodes(hil, octets, said):
    ended = hil("wire", octets, "--bench", "fixtures/propagator.yaml")

    assert ended.exit_code == 0
    assert ended.output.splitlines()[0].endswith(said)
    assert "0x7d34" in ended.output
    assert ("temperature" in ended.output) or ("6 octets: 22.3 C" in ended.output)


def test_what_is_no_coap_message_says_why(hil):
    ended = hil("wire", "60 45 7d 34 ff", "--bench", "fixtures/propagator.yaml")

    assert ended.exit_code == 1
    assert "no CoAP message: a payload marker" in ended.output
