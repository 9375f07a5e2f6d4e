"""Judging again: a recorded run, or somebody else's capture, against plans, without any node."""
