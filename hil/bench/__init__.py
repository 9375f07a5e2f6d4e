"""The edge: the only code with a clock and wires, and what guards the rack around a run.

Read in this order: bench (the seam), loop (what joins a run to a bench), virtual, wall (with
ports, port and clock below it), then rig, software, lock and guard for what surrounds a run.
"""
