"""Parse, call, print: one file for each command; the only room that prints.

Results go to stdout, progress and warnings to stderr. What a person did wrong is one
line and exit code 1, wrong usage 2; a traceback is a bug of ours. Everything heavy is
imported inside the commands, so that `--help` answers at once.
"""

from tensionlog.cli.app import main

__all__ = ["main"]
