"""Text from outside in labels and messages, where the framework reads Markdown: names of files, runs, corners."""

from __future__ import annotations

import re

_SIGNS = str.maketrans({sign: f"\\{sign}" for sign in "\\`*_{}[]()<>#+-!|~$:"})
# a dot of an address or of a list; with a backslash any other would be read aloud with it
_DOT = re.compile(r"\.(?=\w)|(?<=\d)\.(?=\s)")


def plain(text: str) -> str:
    """Escape text so that every sign stands for itself: no emphasis, link, colour or formula."""
    return _DOT.sub(r"\\.", text.translate(_SIGNS))
