"""The nodes that show what they are told: the stack light and the small display."""

from hil.nodes.model import Model


class Beacon(Model):
    """A stack light: one lamp is on at a time, or none."""

    signals = ("lamp",)


class Tile(Model):
    """A small display: a coloured disc, an arrow, a line of text."""

    signals = ("disc", "arrow", "caption")
