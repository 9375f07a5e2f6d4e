"""Bring-up: what can be wrong with interface and address is said in a sentence."""

import dataclasses

import pytest
from bench.small import SMALL

from hil.bench.rig import check_interface
from hil.core.error import BenchError


def test_loopback_has_the_address():
    check_interface(SMALL)


def test_any_loopback_address_will_do():
    # RFC 1122 §3.2.1.3 (g): all of 127/8 is this host.
    check_interface(dataclasses.replace(SMALL, host="127.0.0.9"))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"interface": "bus0"}, r"has no interface bus0\n    try: one of .*lo"),
        ({"interface": ""}, "has no interface"),
        ({"host": "192.0.2.10"}, r"192\.0\.2\.10 is not an address of interface lo, which has 127"),
        ({"host": "0.0.0.0"}, "is not an address of interface lo"),
        ({"host": "the bench"}, "'the bench' is not an IP address"),
        ({"host": ""}, "is not an IP address"),
    ],
)
def test_what_is_wrong_is_said(change, message):
    with pytest.raises(BenchError, match=message):
        check_interface(dataclasses.replace(SMALL, **change))
