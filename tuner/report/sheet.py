"""What stands on the sheet, ready to be set: text, tags, pictures, sources.

Takes nothing; gives frozen values that the template lays out.
"""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from tuner.wording.headlines import Headline
from tuner.wording.layout import Section


@dataclass(frozen=True, slots=True)
class Tag:
    """The verdict on one side: what the shaft does, the verdict, how sure, a few sentences, a drawn strip."""

    name: str
    motion: str
    verdict: str
    sure: str = ""
    lines: tuple[str, ...] = ()
    strip: Markup | None = None


@dataclass(frozen=True, slots=True)
class Frame:
    """One picture: its name in the file, the figure as JSON that is safe inside HTML, its description."""

    name: str
    json: Markup
    words: str
    paper_width: int  # pixels in which it is drawn for paper, then scaled to the page
    paper_height: float  # of the height on the screen


@dataclass(frozen=True, slots=True)
class PictureGroup:
    """One or more pictures under a title and a caption, side by side or one below the other."""

    title: str
    caption: str
    frames: tuple[Frame, ...]
    beside: bool = False


@dataclass(frozen=True, slots=True)
class SourceSheet:
    """One input: whose it is, its name, and facts about it, each a name with one or more lines."""

    label: str
    file: str
    facts: tuple[tuple[str, tuple[str, ...]], ...]
    mark: str = ""  # class of the run: run0, run1, or none


@dataclass(frozen=True, slots=True)
class HowTo:
    """How a test is made, for whoever makes the next one: drawing, steps, how often, what spoils it."""

    title: str
    drawing: Markup
    steps: tuple[str, ...]
    repeats: str
    spoils: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole report before it is set."""

    title: str
    facts: tuple[str, ...]
    headline: Headline
    summary: tuple[str, ...]
    tags: tuple[Tag, ...]
    pictures: tuple[PictureGroup, ...]
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]
    command: str
    sources: tuple[SourceSheet, ...]
    made_by: str
    how: tuple[HowTo, ...] = ()
    checks: tuple[str, ...] = ()
    onward: tuple[str, ...] = ()
    question: str = ""
    beside: tuple[Section, ...] = ()  # what else could explain the answer, and what goes with it
    caution: str = ""
