"""The command line: a thin door to `tuner.jobs`; the only place in `tuner` that prints.

Takes the words of a command, gives text or JSON and an exit status. Everything but click is loaded by
the command that needs it, so that ``tuner --help`` costs next to nothing.

Exit status: 0 done; 2 the command line is wrong; 3 an input was refused; 1 a defect of ours.
"""

from tuner.cli.entry import main, run

__all__ = ["main", "run"]
