"""The command line: `hil`.  Everything heavy is imported inside the commands."""
