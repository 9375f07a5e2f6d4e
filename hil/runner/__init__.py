"""The composition root: read files, open a bench, run, journal, make safe, report.

options     what was asked for
selection   which cases that means, in which order
session     roll call → repair of an unclean end → the run, as one machine
site        the rack around a run: lock, software nodes, bench, guard; wall or virtual
run         all of it together
listing     what would run, without running it
"""
