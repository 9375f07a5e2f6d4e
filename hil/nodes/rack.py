"""The one name that other layers need: the software that stands in for a rack.

Which models there are is in the table FAMILIES of hil.nodes.glasshouse; `Software.model` chooses.
"""

from hil.nodes.glasshouse import SoftwareRack

__all__ = ["SoftwareRack"]
