"""What counters mean by their names, as PHYs, drivers and nodes give them (a PHY vendor's PLCA pages)."""

import pytest

from hil.bus.suspicion import UNEXPECTED_BEACON, meaning


@pytest.mark.parametrize(
    ("counter", "says"),
    [
        ("eth1 collisions", "two sent at once"),
        ("tx_collision_cnt", "two sent at once"),
        ("plca_rx_in_own_slot", "another PHY sends in its turn"),
        ("tile.plca.own-turn", "another PHY sends in its turn"),
        ("beacon_before_own_to", "the node count is no larger"),
        ("beacon-early", "the node count is no larger"),
        ("rx_in_own_to", "another PHY sends in its turn"),
        ("rx_crc_errors", "frames come garbled"),
        ("rx_frame_errors", "frames come garbled"),
        ("unexpected_beacons", "second coordinator"),
        ("plca-unexpected-beacon", "second coordinator"),
        ("bcn_unexp", "second coordinator"),
    ],
)
def test_a_name_tells_what_its_rise_means(counter, says):
    told = meaning(counter)

    assert says in told.says
    assert told.ends is (told is UNEXPECTED_BEACON)


@pytest.mark.parametrize("counter", ["rx_errors", "plca_beacons", "color", "tx_packets", "own_mac"])
def test_a_name_that_tells_nothing_is_not_guessed_at(counter):
    assert meaning(counter) is None
