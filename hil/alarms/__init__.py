"""Threshold logic: the alarm spec, the logic it means, its review, and its proof."""
