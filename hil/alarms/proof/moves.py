"""What all procedures do: set the input, reach a band, acknowledge, restart, look.

Every state is brought about deliberately and seen before anything is concluded from it: the input
must read what it was driven to, and the indicators must show the state that a probe begins with.
"""

from decimal import Decimal

from hil.alarms.edge import Edge
from hil.alarms.means import RESTART, Way
from hil.alarms.proof.dialogue import Drive, Pause, Steps, Stop, Until
from hil.alarms.proof.panel import Looks, Panel
from hil.alarms.proof.station import COMING_BACK, Stations, drive_of
from hil.alarms.spec import START_UP
from hil.core.instant import Duration, Instant, after
from hil.core.signal import EXACT, Validity, show_value


class Moves:
    """The hands of a proof; `rebooting` is the node that may reboot now."""

    def __init__(self, stations: Stations, panel: Panel) -> None:
        self.stations = stations
        self.panel = panel
        self.spec = stations.spec
        self.rebooting = ""
        self.now = Instant(0)
        self._bands = {band.name for band in self.spec.bands}

    # --- the input -----------------------------------------------------------------------------

    def prepare(self, start: Instant) -> Steps[None]:
        """Drive what must be so for the spec to hold."""
        self.now = start
        for path, value in self.spec.given:
            self.now = (yield Drive(path, value)).now

    def impose(self, count: int) -> Steps[None]:
        """Drive the input to a count and wait until it reads that."""
        stations = self.stations
        reply = yield Drive(stations.drive, stations.driven(count))
        self.now = reply.now
        if not stations.input.sensed:
            return
        sent, deadline = reply.sent, after(reply.now, stations.arrival)
        noise = stations.input.noise
        if noise >= stations.grid.step:  # a noisy reading comes by the count itself soon enough
            soon = after(reply.now, Duration(stations.slack + stations.arrival // 4))
            reply = yield Until(lambda: self._reads(count, sent, Decimal(0)), soon)
        if not reply.met or noise < stations.grid.step:
            reply = yield Until(lambda: self._reads(count, sent, noise), deadline)
        self.now = reply.now
        if not reply.met:
            got = self.panel.input
            shown = "nothing" if got is None else show_value(got.value, stations.input)
            yield Stop(
                f"{self.spec.signal} was driven to {stations.show(count)} and read {shown}: "
                f"this stimulus could not be brought about"
            )

    def _reads(self, count: int, sent: Instant, noise: Decimal) -> bool:
        sample = self.panel.input
        if sample is None or sample.at < sent or sample.validity is not Validity.VALID:
            return False
        if not isinstance(sample.value, Decimal):
            return False
        off = abs(EXACT.subtract(sample.value, self.stations.value(count)))
        return off <= max(noise, self.stations.grid.step / 2)

    # --- waiting -------------------------------------------------------------------------------

    def wait(self, length: Duration) -> Steps[None]:
        """Let time pass."""
        self.now = (yield Pause(after(self.now, length))).now

    def shown(self, edge: Edge, length: Duration) -> Steps[bool]:
        """Wait until an alarm, or a worse one, is shown; say whether it was in time."""
        reply = yield Until(lambda: self.stands(edge) is True, after(self.now, length))
        self.now = reply.now
        return reply.met

    def gone(self, edge: Edge, length: Duration) -> Steps[bool]:
        """Wait until neither an alarm nor a worse one is shown."""
        reply = yield Until(lambda: self.stands(edge) is False, after(self.now, length))
        self.now = reply.now
        return reply.met

    def showing(self, look: str, length: Duration) -> Steps[bool]:
        """Wait until the votes are for a look; say whether that was in time."""
        reply = yield Until(lambda: look in self.panel.voted, after(self.now, length))
        self.now = reply.now
        return reply.met

    def stands(self, edge: Edge, looks: Looks | None = None) -> bool | None:
        """Tell whether an alarm, or a worse one of its side, is shown; None where one can't say."""
        looks = self.panel.voted if looks is None else looks
        side = {self.spec.normal}
        worse = set()
        for other in self.stations.edges:
            if other.rising is edge.rising:
                side.add(other.alarm)
                if other.severity >= edge.severity:
                    worse.add(other.alarm)
        seen = looks & (side | worse)
        if not seen:
            # an alarm of the other side alone says that this one does not stand
            return False if looks & self._bands else None
        if seen <= worse:
            return True
        return None if seen & worse else False

    # --- states --------------------------------------------------------------------------------

    def normal(self) -> Steps[None]:
        """Reach the normal state: the middle of normal, latches acknowledged, nothing shown."""
        count = self.stations.middle(self.spec.normal)
        if count is None:
            yield Stop(f"no value of {self.spec.normal} is clear of every dead band")
            return
        yield from self.impose(count)
        if START_UP in self.panel.voted:  # it has only just started
            yield from self.showing(self.spec.normal, self._started)
        latched = self._latched_shown()
        patience = max((self.stations.after_off(edge) for edge in latched), default=None)
        if patience is None:
            if (yield from self.showing(self.spec.normal, self.stations.settled)):
                return
        else:
            yield from self.wait(patience)
        yield from self.acknowledge()
        if (yield from self.showing(self.spec.normal, self.stations.settled)):
            return
        if (yield from self._afresh()):
            return
        yield Stop(
            f"{self.spec.normal} could not be reached: at {self.stations.show(count)} the "
            f"indicators still show {self.seen()}"
        )

    def standing(self, edge: Edge) -> Steps[None]:
        """Reach an alarm from normal; the input is then in the middle of its band."""
        count = self.stations.middle(edge.alarm)
        if count is None:
            yield Stop(f"no value of {edge.alarm} is clear of the dead band of a worse alarm")
            return
        yield from self.normal()
        yield from self.impose(count)
        if not (yield from self.shown(edge, self.stations.after_on(edge))):
            yield Stop(
                f"{edge.alarm} could not be reached: at {self.stations.show(count)} the "
                f"indicators show {self.seen()}"
            )

    def acknowledge(self) -> Steps[None]:
        """Acknowledge once, and let go of the button."""
        latch = self.spec.latch
        if latch is None:
            return
        signal = self.stations.signals[latch.signal]
        yield Drive(latch.signal, latch.label)
        self.now = (yield Drive(latch.signal, drive_of(signal).rest)).now

    def restart(self, way: Way) -> Steps[bool]:
        """Restart a node and wait until it is back; `now` is then when that was seen."""
        self.rebooting = self.stations.signals[way.signal].node
        self.panel.begin()
        reply = yield Drive(way.signal, way.value, again=0)
        reply = yield Until(lambda: bool(self.panel.reboots), after(reply.now, COMING_BACK))
        self.now = reply.now
        self.rebooting = ""
        return reply.met

    def seen(self) -> str:
        """Return what the indicators show, for people."""
        voted = " or ".join(sorted(self.panel.voted)) or "nothing known"
        each = "; ".join(self.panel.seen_on(n) for n in range(len(self.spec.indicators)))
        return f"{voted} ({each})"

    def _latched_shown(self) -> list[Edge]:
        return [
            edge for edge in self.stations.edges if edge.latched and edge.alarm in self.panel.voted
        ]

    def _afresh(self) -> Steps[bool]:
        """Restart the deciding node as the last means to reach normal, where that is declared."""
        way = None if self.spec.means is None else self.spec.means.way(RESTART)
        if way is None or not (yield from self.restart(way)):
            return False
        return (yield from self.showing(self.spec.normal, self._started))

    @property
    def _started(self) -> Duration:
        """How long a start may take until the first judgement is shown."""
        return Duration(self.spec.start_up.hold + self.stations.settled)
