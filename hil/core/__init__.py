"""The pure heart: instants, signals, plans, expectation machines, the run, verdicts, journal events.

Nothing in here reads a clock, opens a file or a socket, or reaches for chance.
Read in this order: instant, signal, plan, expectation, engine, event.
"""
