"""Bytes and values: layouts of datagrams, their checks, and what went wrong with a garbled one.

Pure: bytes in, values out.  Read in this order: rack (what a bench file describes), layout,
diagnosis, link.
"""
