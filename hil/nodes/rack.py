"""The one name that other layers need: the software that stands in for a rack.

There is one family of models so far, the glasshouse.  A second one is chosen here, by
`Software.model`.
"""

from hil.nodes.glasshouse import SoftwareRack

__all__ = ["SoftwareRack"]
