"""Threshold logic: the alarm spec, the logic it means, its review, and its proof.

Pure: no clock, no files.  Read in this order:

    spec, indicator    what the author states
    edge, grid         the trip and reset points that follow from it, and counts
    standing, logic    what must be shown, over time (timer: one delay)
    show               whether an indicator shows it
    review, finding    what is wrong on paper; comparison: where two specs differ
    target, search     where a node must trip, and where it really does
    decision           pass or fail, with the uncertainty
    coverage, chatter  which transitions are left; how often is too often
    region, standard   chromaticities of signal colours
    colour, palette    differences between colours, and what they mean
"""
