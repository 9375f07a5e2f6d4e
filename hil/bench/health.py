"""How the rack's interface is: before a run and between its cases, as far as it is offered.

    interface       exists, up, has the bench file's address (hil.bench.rig refuses it otherwise)
    PLCA            on, id, node count, timers, against the bench file; set and read back if asked
    PLCA status     whether beacons come
    signal quality  the index and its largest value, against the smallest that is good enough
    counters        of the kernel, the driver and the PHY: collisions, receptions in the own turn,
                    unexpected beacons, garbled frames

What is not offered is said to be not supported; it is never taken for zero.
"""

import re
from collections.abc import Callable
from typing import TypeVar

from hil.bench.ethtool import (
    NOT_SUPPORTED,
    Ethtool,
    Unanswered,
    driver_counters,
    kernel_counters,
)
from hil.bus.netlink import LinkState, Plca, differences
from hil.core.error import BenchError
from hil.wire.rack import Rack
from hil.wire.segment import TOOL, Bus

T = TypeVar("T")

NOT_MEASURED = "not measured"
TELLING = re.compile(r"coll|plca|beacon|bcn|own_?(slot|turn|to)\b|crc|symbol", re.IGNORECASE)
"""Driver counters that may tell a bus fault, by their names; drivers name them as they like."""

WORDS = {
    "enabled": "PLCA",
    "node_id": "the PLCA id",
    "node_count": "the node count",
    "to_timer": "the transmit opportunity timer",
    "burst_count": "the burst count",
    "burst_timer": "the burst timer",
}


class InterfaceHealth:
    """What can be asked about a rack's interface.

    Every answer is a text or a number that was really told; nothing here raises but BenchError
    from `prepare`.
    """

    def __init__(self, rack: Rack, ethtool: Ethtool | None = None) -> None:
        self._interface, self._host, self._bus = rack.interface, rack.host, rack.bus
        self._ethtool = ethtool
        self._closed = NOT_SUPPORTED
        try:
            self._ethtool = ethtool or Ethtool()
        except Unanswered as error:
            self._closed = str(error)
        self._offered = {**kernel_counters(self._interface), **self._driver()}

    def close(self) -> None:
        if self._ethtool is not None:
            self._ethtool.close()

    def prepare(self) -> None:
        """Set PLCA up where the bench file wants it, and compare it with the bench file.

        Raises BenchError with everything that is not as it should be; a PHY without PLCA is as
        it should be unless it was to be set up.
        """
        bus = self._bus
        if bus is None or not bus.segment.plca:
            return
        wanted = wanted_plca(bus)
        if bus.set_plca:
            self._set(wanted)
        got = self._asked(Ethtool.plca)
        if isinstance(got, str):
            return
        wrong = self._differing(wanted, got, everything=bus.set_plca)
        if wrong:
            after = "were set and read back otherwise" if bus.set_plca else "differ from the file"
            raise BenchError(
                f"PLCA settings {after}: {'; '.join(wrong)}\n"
                "    try: set-plca: yes under bus, or set the adapter up by hand"
            )
        if self._asked(Ethtool.plca_status) == 0:
            raise BenchError(
                f"PLCA of {self._interface} is on but does not run: no beacon comes\n"
                f"    try: see that {_coordinator(bus)}, which has id 0, is powered and set up"
            )

    def line(self) -> str:
        """Return one line for people: which interface is used, and how it is."""
        told = [f"{what} {how}" for what, how in self.facts()[1:4]]
        return f"interface {self._interface}, {self._host}: {'; '.join(told)}"

    def facts(self) -> tuple[tuple[str, str], ...]:
        """Return what can be told, and for what cannot, why."""
        link, plca = self._asked(Ethtool.link_state), self._asked(Ethtool.plca)
        status = self._asked(Ethtool.plca_status)
        found = [
            ("interface", f"{self._interface}, {self._host}"),
            ("link", link if isinstance(link, str) else _up(link.up)),
            ("PLCA", plca if isinstance(plca, str) else _settings(plca)),
            ("signal quality", link if isinstance(link, str) else self._quality(link)),
            ("PLCA status", status if isinstance(status, str) else _running(status)),
        ]
        if not isinstance(link, str) and link.downs is not None:
            found.append(("link lost", f"{link.downs} times"))
        return (*found, *((name, str(count)) for name, count in self.counters().items()))

    def counters(self) -> dict[str, int]:
        """Return the counters that may tell a bus fault, those that are offered."""
        now = {**kernel_counters(self._interface), **self._driver()}
        return {f"{self._interface} {name}": now[name] for name in self._offered if name in now}

    def troubles(self) -> list[str]:
        """Return what is worse than it must be, in sentences: link, PLCA, signal quality."""
        found = []
        link, least = self._asked(Ethtool.link_state), None
        if self._bus is not None:
            least = self._bus.least_quality
            found += self._strayed(self._bus)
        if isinstance(link, str):
            return found
        if link.up == 0:
            found.append(f"the link of {self._interface} is down")
        if least is not None and link.quality is not None and link.quality < least:
            found.append(
                f"signal quality of {self._interface} is {link.quality}, "
                f"the bench file wants at least {least}"
            )
        return found

    def _strayed(self, bus: Bus) -> list[str]:
        """Return what PLCA of the interface is that it should not be; what is not told is not."""
        got = self._asked(Ethtool.plca)
        if not bus.segment.plca or isinstance(got, str):
            return []
        found = self._differing(wanted_plca(bus), got)
        if self._asked(Ethtool.plca_status) == 0:
            found.append(f"no beacon comes on {self._interface}")
        return found

    def _differing(self, wanted: Plca, got: Plca, *, everything: bool = False) -> list[str]:
        """Return settings that are not as wanted; those not offered only where `everything` counts."""
        return [
            f"{WORDS[name]} of {self._interface} is {_told(name, is_now)}, "
            f"wanted {_told(name, should)}"
            for name, should, is_now in differences(wanted, got)
            if is_now is not None or everything
        ]

    def _driver(self) -> dict[str, int]:
        told = driver_counters(self._interface)
        return {name: count for name, count in told.items() if TELLING.search(name)}

    def _set(self, wanted: Plca) -> None:
        if self._ethtool is None:
            raise BenchError(f"PLCA of {self._interface} cannot be set: {self._closed}")
        try:
            self._ethtool.set_plca(self._interface, wanted)
        except Unanswered as error:
            raise BenchError(
                f"PLCA of {self._interface} cannot be set: {error}\n"
                "    try: set-plca: no where the adapter has none or is set up by hand"
            ) from error

    def _asked(self, question: Callable[[Ethtool, str], T]) -> T | str:
        if self._ethtool is None:
            return self._closed
        try:
            return question(self._ethtool, self._interface)
        except Unanswered as error:
            return str(error)

    def _quality(self, link: LinkState) -> str:
        if link.quality is None:
            return NOT_MEASURED if link.largest_quality is not None else NOT_SUPPORTED
        largest = "" if link.largest_quality is None else f" of {link.largest_quality}"
        return f"{link.quality}{largest}"


def wanted_plca(bus: Bus) -> Plca:
    """Return the settings that the bench file wants of the tool's own adapter.

    The node count is the coordinator's alone; a follower may rightly report 0.
    """
    own = next(each for each in bus.segment.participants if each.name == TOOL)
    return Plca(
        enabled=1,
        node_id=own.plca_id,
        node_count=bus.segment.node_count if own.plca_id == 0 else None,
        to_timer=own.to_timer,
        burst_count=own.burst_count,
        burst_timer=own.burst_timer if own.burst_count else None,
    )


def _coordinator(bus: Bus) -> str:
    return next((each.name for each in bus.segment.participants if each.plca_id == 0), "the node")


def _told(name: str, value: int | None) -> str:
    if value is None:
        return "not offered"
    if name == "enabled":
        return "on" if value else "off"
    return f"{value} bt" if name.endswith("timer") else str(value)


def _settings(plca: Plca) -> str:
    told = [
        f"{WORDS[name].removeprefix('the ')} {_told(name, getattr(plca, name))}"
        for name in WORDS
        if getattr(plca, name) is not None
    ]
    return ", ".join(told).removeprefix("PLCA ") or NOT_SUPPORTED


def _running(status: int | None) -> str:
    if status is None:
        return NOT_SUPPORTED
    return "running" if status else "no beacon"


def _up(up: int | None) -> str:
    return "unknown" if up is None else ("up" if up else "down")
