"""Which adapter is a console's: by who made it, its number, its port, its socket."""

from dataclasses import dataclass

import pytest

from hil.bench.adapter import choose, device_of
from hil.core.error import BenchError
from hil.wire.console.description import Console, Line, Usb


@dataclass
class Found:
    """A port as the system lists it."""

    device: str
    vid: int | None = 0x1A86
    pid: int | None = 0x7523
    serial_number: str | None = None
    location: str | None = "1-1.1"


BOARD = Found("/dev/ttyS0", vid=None, pid=None, location=None)
A = Found("/dev/ttyUSB1", serial_number="GH-0101", location="1-1.1")
B = Found("/dev/ttyUSB0", serial_number="GH-0102", location="1-1.2")
TWIN_1, TWIN_2 = (
    Found("/dev/ttyUSB0", location="1-1.3"),
    Found("/dev/ttyUSB1", location="1-1.4"),
)
QUAD = [
    Found(f"/dev/ttyUSB{n}", 0x0403, 0x6011, "FT1", location=f"2-1:1.{n}") for n in (3, 1, 0, 2)
]


def usb(**more):
    return Usb(**{"vendor": 0x1A86, "product": 0x7523, **more})


@pytest.mark.parametrize(
    ("wanted", "ports", "device"),
    [
        (usb(), [BOARD, A], "/dev/ttyUSB1"),
        (usb(serial="GH-0102"), [A, BOARD, B], "/dev/ttyUSB0"),
        (usb(location="1-1.4"), [TWIN_1, TWIN_2], "/dev/ttyUSB1"),
        (usb(vendor=0x0403, product=0x6011, interface=2), QUAD, "/dev/ttyUSB2"),
        (usb(vendor=0x0403, product=0x6011, serial="FT1", interface=0), QUAD, "/dev/ttyUSB0"),
        (usb(vendor=0x0403, product=0x6011, location="2-1", interface=1), QUAD, "/dev/ttyUSB1"),
    ],
)
def test_one_adapter_is_meant_whatever_its_number_is_today(wanted, ports, device):
    assert choose("pump", wanted, ports) == device


@pytest.mark.parametrize(
    ("wanted", "ports", "told"),
    [
        (
            usb(serial="GH-0103"),
            [A, BOARD],
            "the console of pump: no adapter on the USB is usb 1a86-7523 serial GH-0103\n"
            "    try: plug it in; there is /dev/ttyUSB1 (1a86-7523 serial GH-0101, interface 0, "
            "in 1-1.1)",
        ),
        (
            usb(),
            [BOARD],
            "the console of pump: no adapter on the USB is usb 1a86-7523\n"
            "    try: plug it in; there is no serial adapter at all",
        ),
        (
            usb(),
            [A, B],
            "the console of pump: 2 adapters on the USB are usb 1a86-7523: /dev/ttyUSB1 "
            "(1a86-7523 serial GH-0101, interface 0, in 1-1.1); /dev/ttyUSB0 (1a86-7523 serial "
            "GH-0102, interface 0, in 1-1.2)\n    try: add its `serial` under usb:",
        ),
        (
            usb(),
            [TWIN_1, TWIN_2],
            "the console of pump: 2 adapters on the USB are usb 1a86-7523: /dev/ttyUSB0 "
            "(1a86-7523 without a serial number, interface 0, in 1-1.3); /dev/ttyUSB1 (1a86-7523 "
            "without a serial number, interface 0, in 1-1.4)\n    try: add its `location` under usb:",
        ),
    ],
)
def test_none_or_several_are_told_with_what_there_is(wanted, ports, told):
    with pytest.raises(BenchError) as raised:
        choose("pump", wanted, ports)

    assert str(raised.value) == told


def test_a_name_that_stays_is_taken_as_it_is():
    console = Console(device="/dev/serial/by-id/x", line=Line(rate=9600))

    assert device_of("pump", console) == "/dev/serial/by-id/x"
