"""Octets to and from the kernel, against strings put together from its published attribute list."""

import contextlib
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hil.bus import netlink
from hil.bus.netlink import Ask, LinkState, Plca

pytestmark = pytest.mark.skipif(sys.byteorder != "little", reason="written for little-endian")

# Each line: what it is in Linux' headers.  linux/netlink.h, genetlink.h, ethtool_netlink.h.
FAMILY_REQUEST = bytes.fromhex(
    "20000000 1000 0500 07000000 00000000"  # 32 octets, GENL_ID_CTRL, REQUEST|ACK, sequence 7
    "03 01 0000"  # CTRL_CMD_GETFAMILY
    "0c00 0200 657468746f6f6c00"  # CTRL_ATTR_FAMILY_NAME: ethtool
)
PLCA_REQUEST = bytes.fromhex(
    "24000000 1500 0500 08000000 00000000"
    "27 01 0000"  # ETHTOOL_MSG_PLCA_GET_CFG is 39
    "1000 0180"  # ETHTOOL_A_PLCA_HEADER, nested; the name is filled up within it
    "0900 0200 65746831 00 000000"  # ETHTOOL_A_HEADER_DEV_NAME: eth1
)
PLCA_REPLY = bytes.fromhex(
    "58000000 1500 0000 08000000 00000000"
    "27 01 0000"
    "0600 0200 0a0d 0000"  # VERSION 0x0d0a
    "0500 0300 01 000000"  # ENABLED
    "0800 0500 0b000000"  # NODE_CNT 11
    "0800 0600 00000000"  # NODE_ID 0
    "0800 0700 20000000"  # TO_TMR 32
    "0800 0800 02000000"  # BURST_CNT 2
    "0800 0900 80000000"  # BURST_TMR 128
    "0c00 6300 0000000000000000"  # an attribute of a later kernel
)
ACKNOWLEDGED = bytes.fromhex("24000000 0200 0001 08000000 00000000 00000000" + "00" * 16)
REFUSED = bytes.fromhex("24000000 0200 0000 08000000 00000000 a1ffffff" + "00" * 16)  # -95
LINK_REPLY = bytes.fromhex(
    "34000000 1500 0000 09000000 00000000"
    "06 01 0000"
    "0500 0200 01 000000"  # LINKSTATE_LINK
    "0800 0300 05000000"  # SQI 5
    "0800 0400 07000000"  # SQI_MAX 7
    "0800 0700 03000000"  # EXT_DOWN_CNT 3
)[:52]


def fixed(octets: bytes) -> bytes:
    """Return a message with its true length in its header."""
    return len(octets).to_bytes(4, "little") + octets[4:]


def test_the_family_is_asked_for_by_its_name():
    assert netlink.family_request(7) == fixed(FAMILY_REQUEST)


def test_settings_are_asked_for_by_the_interface():
    request = netlink.interface_request(0x15, Ask.PLCA_SETTINGS, 8, "eth1")

    assert request == fixed(PLCA_REQUEST)


def test_a_change_names_only_what_is_to_change():
    change = netlink.plca_change(0x15, 8, "eth1", Plca(version=1, enabled=1, node_id=3))

    header = fixed(PLCA_REQUEST)[20:]
    assert change[16] == 40  # ETHTOOL_MSG_PLCA_SET_CFG
    assert change[20:] == header + bytes.fromhex("0500 0300 01 000000  0800 0600 03000000")


def test_settings_are_read_with_what_a_later_kernel_adds():
    settings, done = netlink.replies(fixed(PLCA_REPLY) + fixed(ACKNOWLEDGED))

    assert done.error == 0
    assert netlink.plca_settings(settings) == Plca(
        version=0x0D0A,
        enabled=1,
        node_count=11,
        node_id=0,
        to_timer=32,
        burst_count=2,
        burst_timer=128,
    )


def test_a_refusal_keeps_its_number():
    (refused,) = netlink.replies(fixed(REFUSED))

    assert (refused.sequence, refused.error) == (8, 95)


def test_the_link_tells_its_quality():
    (reply,) = netlink.replies(fixed(LINK_REPLY))

    assert netlink.link_state(reply) == LinkState(up=1, quality=5, largest_quality=7, downs=3)


def test_what_is_not_offered_is_not_zero():
    (reply,) = netlink.replies(fixed(LINK_REPLY[:20]))

    assert netlink.link_state(reply) == LinkState()
    assert netlink.plca_status(reply) is None


def test_differences_name_what_is_wanted_and_not_so():
    got = Plca(enabled=1, node_id=255, to_timer=32)

    assert netlink.differences(Plca(enabled=1, node_id=0, node_count=11), got) == [
        ("node_count", 11, None),
        ("node_id", 0, 255),
    ]


@pytest.mark.parametrize("name", ["", "x" * 16, "a\0b", "ü" * 8])
def test_a_name_no_interface_can_have_is_refused(name):
    with pytest.raises(ValueError, match="no interface can be called"):
        netlink.interface_request(0x15, Ask.LINK_STATE, 1, name)


@pytest.mark.parametrize("cut", range(1, len(PLCA_REPLY)))
def test_a_cut_reply_is_garbled(cut):
    with pytest.raises(netlink.GarbledReply):
        netlink.replies(fixed(PLCA_REPLY)[:cut])


@given(st.binary(max_size=80))
def test_any_octets_are_read_or_garbled(octets):
    body = bytes(12) + octets
    with contextlib.suppress(netlink.GarbledReply):  # anything else fails the test
        for reply in netlink.replies((4 + len(body)).to_bytes(4, "little") + body):
            netlink.plca_settings(reply)
            netlink.link_state(reply)
            netlink.family_number(reply)
