"""The pressure sensor in the water feed."""

from hil.nodes.model import Model, Surroundings


class Feedline(Model):
    """One pressure, filtered a little, in counts of 0.01 bar."""

    signals = ("pressure",)
    faults = ("none", "open-circuit", "frozen", "silent")

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        self.sensors = {"pressure": around.sensor("pressure", "sensor-lag", "pressure-noise")}
