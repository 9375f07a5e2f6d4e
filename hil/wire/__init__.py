"""Bytes and values: layouts of datagrams, their checks, and what went wrong with a garbled one.

Pure: bytes in, values out.  Read in this order:

    rack                       what a bench file describes
    encoding, frame, source    raw numbers and values; where they sit; the compiled functions
    layout                     the codec of one layout, and example: its worked examples
    decoded, look              what a datagram says; the samples of a reading, made when asked for
    crc, diagnosis, hint       what is wrong with octets, and what may lie behind a wrong value
    track, pending, timers     counters of a node, open requests, deadlines
    reception, conversation    what one node says, and what is said to it
    link                       the machine over all nodes of a rack
"""
