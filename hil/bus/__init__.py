"""The shared segment: what it can carry, what is wrong with it, and a medium that behaves like it.

Pure: nothing in here reads a clock or reaches for chance that does not repeat.
Read in this order: segment, budget, findings, medium.
"""
