"""Groups on a bench computer with two interfaces: the rack on the second, the default route first."""

import shutil
import socket
import struct
import subprocess

import pytest
from wall.spaces import ROOT, Spaces, annexe, ip

from hil.bench.group import GroupPort, pin_sending
from hil.bench.port import Port
from hil.core.error import BenchError
from hil.files.read import read_rack
from hil.wire.rack import Address

pytestmark = pytest.mark.wall

BENCH = annexe(host="192.0.2.1", nodes="192.0.2.2", interface="rack0", served=False)
SERVED = annexe(host="192.0.2.2", nodes="192.0.2.2", interface="inside", served=True)
PLAN = str(ROOT / "testplans" / "annexe.yaml")


@pytest.fixture(scope="module")
def made():
    spaces = Spaces("groups")
    spaces.make()
    yield spaces
    spaces.take_away()


@pytest.fixture
def spaces(made, tmp_path):
    made.folder = tmp_path
    (tmp_path / "bench.yaml").write_text(BENCH, "utf-8")
    yield made
    made.end_all()


def test_readings_of_a_group_come_in_on_the_racks_interface_only(spaces):
    spaces.serve(SERVED)
    before = spaces.octets("office0", "tx")
    code, out, err = spaces.hil("run", PLAN, "--bench", "bench.yaml")

    assert code == 0, out + err
    assert "READY: 4 of 4 cases passed" in out
    assert "interface rack0 listens to 239.255.20.21:47920, 239.255.20.20:47920" in err
    assert spaces.octets("office0", "tx") - before < 1_000  # no report of a membership left there


SHOUT = """\
import socket, struct, sys
from crccheck.crc import Crc16CcittFalse
interface, serial = sys.argv[1:]
told = struct.pack(">BBIH8s6s", 0x52, 1, 5000, 1, serial.encode(), b"1.4.2")
told += struct.pack(">H", Crc16CcittFalse.calc(told))
made = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
where = struct.pack("=4s4si", bytes(4), bytes(4), socket.if_nametoindex(interface))
made.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, where)
print("ready", flush=True)
while sys.stdin.readline():
    made.sendto(told, ("239.255.20.20", 47920))
"""


def shout(spaces, interface, serial):
    """Announce a board for as long as the scan takes, on one interface of the rack's side."""
    word = f"import select, sys\nexec({SHOUT!r}.replace('sys.stdin.readline()', "
    word += "'not select.select([], [], [], 0.05)[0]'))"
    process = spaces.start(spaces.rack, "-c", word, interface, serial)
    assert process.stdout.readline() == "ready\n", process.stderr.read()


def test_a_scan_needs_no_route_and_hears_nothing_of_the_other_interface(spaces):
    spaces.serve(SERVED)
    shout(spaces, "outside", "AX-0666")
    ip(f"ip -n {spaces.bench} route del default")
    try:
        code, out, err = spaces.hil("scan", "--bench", "bench.yaml")
    finally:
        ip(f"ip -n {spaces.bench} route add default via 198.51.100.2")

    assert code == 0, out + err
    assert "annexe: all 3 nodes as declared" in out
    assert out.count("3 of 3") == 3
    assert "AX-0666" not in out


def test_a_run_in_which_a_second_board_announces_itself_moves_nothing(spaces):
    spaces.serve(SERVED)
    shout(spaces, "inside", "AX-0666")
    code, out, err = spaces.hil("run", PLAN, "--bench", "bench.yaml")
    journal = (spaces.folder / "reports" / "latest" / "journal.jsonl").read_text()

    assert code == 3, out + err
    assert "two nodes have the number 1: serial AX-0666, firmware 1.4.2 announces itself" in out
    assert '"event":"command"' not in journal


def test_an_interface_that_carries_no_multicast_is_told_in_words(spaces):
    ip(f"ip -n {spaces.bench} link set rack0 multicast off")
    try:
        code, _, err = spaces.hil("run", PLAN, "--bench", "bench.yaml")
    finally:
        ip(f"ip -n {spaces.bench} link set rack0 multicast on")

    assert code == 3
    assert "interface rack0 carries no multicast, and 239.255.20.21:47920, 239.255" in err
    assert "try: ip link set rack0 multicast on" in err


def test_a_scan_tells_second_swapped_moved_and_missing_boards_apart(spaces):
    served = SERVED.replace("serial: AX-0205", "serial: AX-0999").replace(":47927", ":47937")
    spaces.serve(served)
    shout(spaces, "inside", "AX-0666")
    code, out, err = spaces.hil("scan", "--bench", "bench.yaml")

    assert code == 3, out + err
    assert "annexe: 5 differences from the bench file" in out
    assert "other serial: circulator: serial is AX-0999, wanted AX-0205, at 192.0.2.2:47925" in out
    assert "missing: circulator: serial AX-0205 was not heard in 3 rounds" in out
    assert "moved: beacon: it is at 192.0.2.2:47937, the bench file says 192.0.2.2:47927" in out
    assert "port 47927 of 192.0.2.2 is closed" in out
    assert (
        "two nodes: feedline: 2 nodes have the number 1: serial AX-0201 at 192.0.2.2:47921" in out
    )
    assert "unknown: serial AX-0666 at 192.0.2.2:" in out


def test_a_group_socket_joins_by_index_and_shares_its_port():
    group = Address("239.255.77.77", 47977)
    one = GroupPort("one", group, interface="lo")
    two = GroupPort("two", group, interface="lo")
    mouth = Port("mouth", "127.0.0.1", interface="lo")
    try:
        pin_sending(mouth.socket, "lo", "")
        index = mouth.socket.getsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL)
        assert index == 1
        assert mouth.send(b"hello", group) == ""

        heard = [port.socket.recvfrom(100) for port in (one, two)]

        assert heard == [(b"hello", tuple(mouth.local))] * 2
    finally:
        for port in (one, two, mouth):
            port.close()


def test_a_group_that_cannot_be_joined_is_told_in_words():
    # an address of no interface here (RFC 5737)
    with pytest.raises(BenchError, match=r"cannot join the group 239\.1\.1\.1:47978: no such"):
        GroupPort("one", Address("239.1.1.1", 47978), via="203.0.113.9")


def test_a_unicast_socket_never_shares_its_port():
    port = Port("mine", "127.0.0.1", interface="lo")
    try:
        assert port.socket.getsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR) == 0
    finally:
        port.close()


def test_the_request_to_join_is_laid_out_as_the_kernel_has_it():
    # struct ip_mreqn of linux/in.h: imr_multiaddr, imr_address, imr_ifindex (from memory)
    from hil.bench.group import MREQN

    assert struct.calcsize("=4s4si") == MREQN.size == 12


def test_a_foreign_coap_server_is_found_by_multicast_and_drafted(spaces):
    server = shutil.which("coap-server-notls") or shutil.which("coap-server")
    if server is None:
        pytest.skip("libcoap's server is not installed")
    command = [*f"ip netns exec {spaces.rack} {server} -g 224.0.1.187 -G inside".split()]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            words = ("scan", "--coap", "--rounds", "1", "--bench", "bench.yaml")
            code, out, err = spaces.hil(*words, "--write", "draft.yaml")
        finally:
            process.kill()

    assert code == 3, out + err  # the annexe's own nodes are not there
    assert "unknown: without serial at 192.0.2.2:5683: no node of the bench file" in out
    assert '</time>;if="clock"' in out
    assert out.count("0 of 1") == 3
    stranger = read_rack(str(spaces.folder / "draft.yaml")).nodes[-1]
    assert str(stranger.address) == "192.0.2.2:5683"
