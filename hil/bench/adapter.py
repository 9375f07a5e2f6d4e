"""Which device is a console's: by a name that stays, or by the adapter's identity on the USB.

The numbers of /dev/ttyUSB0 and the like are given out in the order of plugging in; what stays is
who made the adapter, its serial number, which of its ports it is, and the socket that it is in.
"""

from collections.abc import Iterable
from typing import Protocol

from hil.core.error import BenchError
from hil.wire.console.description import Console, Usb


class PortFound(Protocol):
    """A serial port as the system lists it (serial.tools.list_ports)."""

    @property
    def device(self) -> str: ...
    @property
    def vid(self) -> int | None: ...
    @property
    def pid(self) -> int | None: ...
    @property
    def serial_number(self) -> str | None: ...
    @property
    def location(self) -> str | None: ...


def device_of(name: str, console: Console) -> str:
    """Return the device of a node's console, as it is now.  Raises BenchError."""
    if console.usb is None:
        return console.device
    from serial.tools.list_ports import comports

    return choose(name, console.usb, comports())


def choose(name: str, usb: Usb, ports: Iterable[PortFound]) -> str:
    """Return the device of the one adapter that is meant.  Raises BenchError for none or several."""
    adapters = [port for port in ports if port.vid is not None]
    fitting = [port for port in adapters if _fits(usb, port)]
    if len(fitting) == 1:
        return fitting[0].device
    if not fitting:
        there = "; ".join(map(_shown, adapters)) or "no serial adapter at all"
        raise BenchError(
            f"the console of {name}: no adapter on the USB is {usb}\n"
            f"    try: plug it in; there is {there}"
        )
    several = "; ".join(map(_shown, fitting))
    key = "serial" if not usb.serial and _differ(fitting) else "location"
    raise BenchError(
        f"the console of {name}: {len(fitting)} adapters on the USB are {usb}: {several}\n"
        f"    try: add its `{key}` under usb:"
    )


def _fits(usb: Usb, port: PortFound) -> bool:
    place, interface = _place(port)
    return (
        (port.vid, port.pid) == (usb.vendor, usb.product)
        and usb.serial in ("", port.serial_number or "")
        and usb.interface in (None, interface)
        and usb.location in ("", place)
    )


def _place(port: PortFound) -> tuple[str, int]:
    """Return socket and interface: `1-1.4:1.2` is interface 2 of what is in 1-1.4."""
    place, _, rest = (port.location or "").partition(":")
    number = rest.rpartition(".")[2]
    return place, int(number) if number.isdecimal() else 0


def _differ(ports: list[PortFound]) -> bool:
    serials = {port.serial_number for port in ports}
    return len(serials) == len(ports) and None not in serials


def _shown(port: PortFound) -> str:
    place, interface = _place(port)
    number = f"{port.vid or 0:04x}-{port.pid or 0:04x}"
    serial = f" serial {port.serial_number}" if port.serial_number else " without a serial number"
    return f"{port.device} ({number}{serial}, interface {interface}, in {place or 'unknown place'})"
