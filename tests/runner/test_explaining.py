"""The hint on a wrong value, from the datagram it came in."""

from decimal import Decimal

import pytest
from wire.racks import Encoding, reading, sensor, signal_field

from hil.core.instant import Instant
from hil.core.plan import Invalid, Limits, OneOf
from hil.core.signal import Sample, Validity
from hil.runner.explaining import explainer
from hil.wire.rack import Rack

# Standard pressure (ISO 2533: 1013.25 hPa) as IEEE 754 binary32 in a reading of layout R.
HECTOPASCAL = bytes.fromhex("31 07 00 20 00 01 8B E5 44 7D 50 00 D7 0E")
NODE = sensor(reading(signal_field("p", "f32")), Encoding(), name="p", node=7, unit="kPa")
RACK = Rack(
    name="one",
    file="one.yaml",
    digest="",
    interface="lo",
    host="127.0.0.1",
    late_bound=Instant(1),
    nodes=(NODE,),
    software=None,
)


def hint(condition, raw=HECTOPASCAL, validity=Validity.VALID, signal=NODE.signals[0]):
    sample = Sample("node.p", Decimal("1013.25"), validity, Instant(0), Instant(0), raw=raw)
    return explainer(RACK)(sample, condition, signal)


@pytest.mark.parametrize(
    "condition",
    [
        Limits(low=Decimal("100.3"), high=Decimal("102.3"), target=Decimal("101.3")),
        OneOf(values=(Decimal("101.325"),)),
    ],
)
def test_a_known_unit_ratio_is_named(condition):
    assert "x10 too large: fits as hPa" in hint(condition)


def test_nothing_is_said_without_bytes_a_number_or_a_node():
    limits = Limits(low=Decimal(100), high=Decimal(102))

    assert hint(limits, raw=b"") == ""
    assert hint(limits, validity=Validity.STALE) == ""
    assert hint(Invalid()) == ""
    assert hint(OneOf(values=("red",))) == ""
    assert hint(limits, raw=b"\x00\xff") == ""
