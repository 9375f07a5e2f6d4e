"""A bench computer with two interfaces, the rack on the second, the default route on the first.

Everything is made here: see wall.spaces.
"""

import re

import pytest
from wall.spaces import ROOT, Spaces, ip

pytestmark = pytest.mark.wall

RACK = (ROOT / "fixtures" / "glasshouse.yaml").read_text("utf-8")
RACK = RACK.replace("interface: lo ", "interface: rack0 ").replace("127.0.0.1:", "192.0.2.2:")
PLAN = """\
plan: A first look
cases:
  - case: over-pressure turns the stack light red
    steps:
      - stimulus: {feedline.pressure: 9.0 bar}
        expect: [{signal: beacon.lamp, value: red, within: 1 s}]
"""


@pytest.fixture(scope="module")
def made():
    spaces = Spaces("run")
    spaces.make()
    yield spaces
    spaces.take_away()


@pytest.fixture
def spaces(made, tmp_path):
    """The namespaces, with a bench file on the bench's side."""
    bench = RACK[: RACK.index("\nsoftware:\n")].replace("host: 127.0.0.1 ", "host: 192.0.2.1 ")
    (tmp_path / "bench.yaml").write_text(bench, "utf-8")
    (tmp_path / "plan.yaml").write_text(PLAN)
    made.folder = tmp_path
    yield made
    made.end_all()


@pytest.fixture
def rack(spaces):
    """Serve the software nodes in the rack's namespace."""
    return spaces.serve(RACK.replace("host: 127.0.0.1 ", "host: 192.0.2.2 "))


def run(spaces, *changes):
    file = spaces.folder / "bench.yaml"
    text = file.read_text("utf-8")
    for old, new in changes:
        assert re.search(old, text)
        text = re.sub(old, new, text)
    file.write_text(text, "utf-8")
    return spaces.hil("run", "plan.yaml", "--bench", "bench.yaml")


def test_the_rack_is_reached_on_its_own_interface(spaces, rack):
    before = spaces.octets("office0", "tx"), spaces.octets("rack0", "rx")
    code, out, err = run(spaces)

    assert code == 0, out + err
    assert "interface rack0, 192.0.2.1: link up" in err
    assert spaces.octets("rack0", "rx") - before[1] > 5_000
    assert (
        spaces.octets("office0", "tx") - before[0] < 1_000
    )  # neighbour discovery, and no datagram


def test_nothing_leaves_by_the_default_route(spaces):
    # nodes that only the other interface's router could reach
    before = spaces.octets("office0", "tx")
    code, out, err = run(spaces, (r"192\.0\.2\.2:", "203.0.113.9:"))

    assert code == 3, out + err
    assert "the way to feedline at 203.0.113.9 begins at 198.51.100.1, which is not rack0" in err
    assert spaces.octets("office0", "tx") - before < 1_000


def test_no_route_is_told_in_words(spaces):
    ip(f"ip -n {spaces.bench} route del default")
    try:
        code, out, err = run(spaces, (r"192\.0\.2\.2:", "203.0.113.9:"))
    finally:
        ip(f"ip -n {spaces.bench} route add default via 198.51.100.2")

    assert code == 3, out + err
    assert "there is no way to feedline at 203.0.113.9: network is unreachable" in err


def test_an_interface_that_is_down_is_told_in_words(spaces):
    ip(f"ip -n {spaces.bench} link set rack0 down")
    try:
        code, _, err = run(spaces)
    finally:
        ip(f"ip -n {spaces.bench} link set rack0 up")

    assert code == 3
    assert "bench: interface rack0 is down\n    try: ip link set rack0 up" in err


def test_an_interface_that_is_missing_is_told_in_words(spaces):
    code, _, err = run(spaces, ("interface: rack0", "interface: rack9"))

    assert code == 3
    assert "this computer has no interface rack9\n    try: one of lo, office0, rack0" in err


def test_an_address_of_the_other_interface_is_told_in_words(spaces):
    code, _, err = run(spaces, (r"host: 192\.0\.2\.1", "host: 198.51.100.1"))

    assert code == 3
    assert "198.51.100.1 is not an address of interface rack0, which has 192.0.2.1" in err
