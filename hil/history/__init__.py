"""What many runs say together: stored from journals, asked for changes and trends.

    place       where a history is kept: a file, or a PostgreSQL server
    schema      its tables, and how an older one becomes this one
    shelf       connections, transactions, what goes wrong with them
    record      a journal → what is kept of a run          form     which check it is, every night
    keep        a record → the tables, replacing the same run
    runs        runs found again by what people call them
    passages    the verdicts of cases, night after night
    change      what differs between two runs               changed  the same, asked of the tables
    message     the change as plain text and as mail        told     as lines for a terminal
    nodes       a node night after night
    series      figures of one check, night after night     drift    where they go
    trend       a trend asked for                           trend_table, trend_picture: shown

SQLAlchemy is imported inside the functions of `shelf` and by the modules that import `schema`, and
those only by commands that need them.
"""
