"""Evidence: the journal of a run, and the reports made from it and from nothing else.

    journal.jsonl   hil.report.journal   written while the run goes on, one flushed line per event
    about.json      hil.report.about     who ran it, where and when
    junit.xml       hil.report.junit     for build servers
    terminal        hil.report.summary   for people

hil.report.tally folds a journal into results; hil.report.exit_code turns results into a number.
"""
