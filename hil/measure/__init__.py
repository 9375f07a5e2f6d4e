"""Measures of responses and of repeated trials: pure functions with their sources.

    span          a time known to lie between two instants         step_response  how a step was followed
    record        samples as arrays                                state_level    the two levels of a step
    profile       driven profiles, exact in time                   following      lag, gain, tracking error
    turn          exact sine and cosine of angles                  sine           amplitude and phase
    uncertainty   accuracy → standard and expanded uncertainty     decision       pass, fail or inconclusive
    proportion    intervals of proportions                         trials         many trials, one statement
    latency       percentiles with confidence bounds               delay          delay variation and jitter
    loss          lost and duplicate packets                       reordering     packets out of order
    counter       counters that wrap                               clock          a node's clock, in bounds
    lexis, syntax text → expression tree                           relation       does an equation hold
    dimension     units of results                                 agreement      the same thing in several places

Nothing here reads a clock or a file.  Numpy and scipy are imported inside the functions that need
them, so that naming this package costs nothing.  Where a node's answers do not allow a measure,
the result is `Unmeasured`, a value with the reason; ValueError means that the caller asked for
something that makes no sense.
"""
