"""Which pages there are: their place in the address, their file in `views`, their title.

A new page is one file in `views` and one row here.
"""

from __future__ import annotations

START = "start"

PAGES = {
    START: ("start.py", "What do you want to know?"),
    "change": ("change.py", "Did my change help?"),
    "pair": ("pair.py", "Are these two dampers alike?"),
    "one": ("one.py", "What does this one recording say?"),
    "how": ("how.py", "How do I test without a bench?"),
    "machine": ("machine.py", "The machine"),
}
