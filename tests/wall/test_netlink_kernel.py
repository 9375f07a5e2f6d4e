"""The running kernel, asked about an interface without PLCA: the honest `not supported`."""

import sys
from pathlib import Path

import pytest

from hil.bench.ethtool import Ethtool, Unanswered, driver_counters, kernel_counters
from hil.bus.netlink import Plca

pytestmark = [
    pytest.mark.wall,
    pytest.mark.skipif(not sys.platform.startswith("linux"), reason="netlink is Linux' own"),
]


@pytest.fixture
def ethtool():
    made = Ethtool()
    yield made
    made.close()


def test_loopback_has_no_plca(ethtool):
    with pytest.raises(Unanswered, match=r"^not supported$"):
        ethtool.plca("lo")
    with pytest.raises(Unanswered, match=r"^not supported$"):
        ethtool.plca_status("lo")


def test_setting_loopback_up_is_not_supported_or_not_allowed(ethtool):
    with pytest.raises(Unanswered, match=r"^not supported$|CAP_NET_ADMIN"):
        ethtool.set_plca("lo", Plca(enabled=1, node_id=3))


def test_the_link_is_as_the_kernel_shows_it_elsewhere(ethtool):
    state = ethtool.link_state("lo")

    assert state.up == int(Path("/sys/class/net/lo/carrier").read_text())
    assert (state.quality, state.largest_quality) == (None, None)


def test_an_interface_that_is_not_there_is_told(ethtool):
    with pytest.raises(Unanswered, match="there is no such interface"):
        ethtool.link_state("nowhere9")


def test_loopback_has_the_kernels_counters_and_none_of_a_driver():
    assert kernel_counters("lo")["collisions"] == 0
    assert driver_counters("lo") == {}
    assert kernel_counters("nowhere9") == {}
