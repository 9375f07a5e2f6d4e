"""The proof of an alarm spec: a dialogue with the rack for every edge and property.

Pure: no clock, no files.  Read in this order:

    dialogue, talk     a procedure asks (drive this, wait until that), a machine in time answers
    panel              what the indicators show, by their votes, and everything since a moment
    station            which values are driven: the middle of each band, the counts around an edge
    moves              what all procedures do: set the input, reach a band, acknowledge
    proof              what every property has in common: findings, a verdict, events
    point, around, passage, delay, chatter, agreement, fault, start, latch
                       the properties, one module each
    prove              all of them as ordinary cases
"""
