"""Captures: the datagrams of a run as a file that any network analyser opens, and back."""
