"""What other layers need: the software that stands in for a rack, and why it may not fit one.

Which models there are is in the table FAMILIES of hil.nodes.glasshouse; `Software.model` chooses.
"""

from hil.nodes.glasshouse import SoftwareRack, misfits

__all__ = ["SoftwareRack", "misfits"]
