"""Measures of responses and of repeated trials: pure functions with their sources.

    span            a time known to lie between two instants
    record          samples as arrays, checked
    state_level     the two levels of a step            crossing       where a level is passed
    step_response   how a step was followed             excursion      overshoot, undershoot
    ceiling         how high it was between samples
    profile         driven profiles, exact in time      exact          exact numbers and angles
    staircase       what was driven, held               following      lag
    gain            a slope, and how sure it is         sine           gain and phase
    tracking_error  the worst, between samples too
    uncertainty     accuracy → uncertainty              decision       pass, fail or inconclusive
    proportion      intervals of proportions            trials         many trials, one statement
    latency         percentiles with bounds             delay          delay variation and jitter
    loss            lost and duplicate packets          reordering     packets out of order
    counter         counters that wrap                  clock          a node's clock, in bounds
    latency_split   transport and processing            agreement      the same in several places
    lexis, syntax   text → tokens → tree                expression     the tree
    dimension       units of results                    binding        a tree with its units
    relation        does an equation hold               grain          by what steps sides differ

What plans ask for, as meters (hil.core.meter) and jobs (hil.core.job):

    metering, bound the window of a meter; a limit against an interval
    response        settle, overshoot …          stillness      others unchanged
    holding         relation                     showing        agree
    readings        a node's readings            traffic        loss, jitter …
    clocking        drift, processing, return    ruling         decision rules; acceptance: limits
    repeating       trials                       trial_statement  what they show
    tracking        follow                       followed       its figures
    verdicts        what a job has decided

Nothing here reads a clock or a file.  Numpy and scipy are imported inside the functions that need
them, so that naming this package costs nothing.  Where a node's answers do not allow a measure,
the result is `Unmeasured`, a value with the reason; ValueError means that the caller asked for
something that makes no sense.
"""
