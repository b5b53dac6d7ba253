"""Standard output and standard error: characters a terminal cannot show, and progress.

Takes nothing, gives `prepare_streams` and `Progress`.
"""

from __future__ import annotations

import codecs
import sys
import threading
import warnings
from types import TracebackType

_PLAIN = {"·": "*", "²": "2", "³": "3", "±": "+-", "°": " deg", "–": "-", "→": "->", "×": "x", "…": "..."}


def _plain(error: UnicodeError) -> tuple[str, int]:
    """Replace what an old terminal cannot show by its nearest plain spelling."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    bad = error.object[error.start : error.end]
    return "".join(_PLAIN.get(character, "?") for character in bad), error.end


def prepare_streams() -> None:
    """Make sure that printing never fails for a character, and that libraries keep their warnings."""
    codecs.register_error("tuner-plain", _plain)
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="tuner-plain")
    if not sys.warnoptions:
        warnings.simplefilter("ignore")


class Progress:
    """One line on standard error that says what is being done, once it has taken longer than a second.

    Used as a context; call it with a few words before each step. Silent when standard error is no terminal.
    """

    def __init__(self, after: float = 1.0) -> None:
        self._words = ""
        self._after = after
        self._visible = False
        self._lock = threading.Lock()
        self._timer: threading.Timer | None = None

    def __enter__(self) -> Progress:
        """Start to count."""
        if sys.stderr.isatty():
            self._timer = threading.Timer(self._after, self._appear)
            self._timer.daemon = True
            self._timer.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Wipe the line."""
        if self._timer is None:
            return
        self._timer.cancel()
        with self._lock:
            if self._visible:
                self._write("")
            self._timer, self._visible = None, False

    def __call__(self, words: str) -> None:
        """Say what is done next."""
        with self._lock:
            self._words = words
            if self._visible:
                self._write(words)

    def _appear(self) -> None:
        with self._lock:
            if self._timer is not None:
                self._visible = True
                self._write(self._words)

    def _write(self, words: str) -> None:
        line = f"{words[:90]} ..." if words else ""
        sys.stderr.write(f"\r\x1b[K{line}")
        sys.stderr.flush()
