"""Measures of responses and of repeated trials: pure functions with their sources."""
