"""What the operator holds: a stick and two switches, all of it imposed by the tool."""

from hil.nodes.model import Model, Surroundings


class Pendant(Model):
    """The stick is sensed (two potentiometers); the switches are what they are."""

    signals = ("stick-x", "stick-y", "selector", "vane-select")
    faults = ("none", "open-circuit", "frozen", "silent")

    def __init__(self, around: Surroundings) -> None:
        super().__init__(around)
        self.sensors = {name: around.sensor(name) for name in ("stick-x", "stick-y")}
