"""Threshold logic: the alarm spec, the logic it means, its review, and its proof.

Pure: no clock, no files.  Read in this order:

    spec       what the author states          edge       the edges that follow from the bands
    logic      what must be shown, over time   show       whether an indicator shows it
    review     what is wrong on paper          comparison where two specs differ
    search     where a node really trips       decision   pass or fail, with the uncertainty
    coverage   which transitions are left      chatter    how often is too often
    region, colour, palette                    what a colour is
"""
