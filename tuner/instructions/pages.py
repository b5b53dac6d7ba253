"""An instruction as a page of words, for the command line, the report and the browser alike.

Takes a kind of record; gives `Section`s.
"""

from __future__ import annotations

from tuner.instructions.texts import INSTRUCTIONS, Instruction
from tuner.wording.layout import CAREFUL, OPENING, Section, filled

NEEDED, STEPS, HOW_OFTEN, NOTE_DOWN, SPOILS, FILE, EXAMPLE = (
    "What you need",
    "What to do",
    "How often",
    "What to note down",
    "What spoils it",
    "The file",
    "An example that runs (in a folder that has sample_data)",
)


def instruction_sections(instruction: Instruction) -> tuple[Section, ...]:
    """Give the page: what the test tells, what it needs, the steps, how often, what to note, what spoils it."""
    return filled(
        (
            Section(OPENING, paragraphs=(instruction.title, instruction.answers)),
            Section(CAREFUL, points=instruction.cautions),
            Section(NEEDED, points=instruction.need),
            Section(STEPS, steps=instruction.steps),
            Section(HOW_OFTEN, paragraphs=(instruction.repeats,)),
            Section(NOTE_DOWN, points=instruction.note_down),
            Section(SPOILS, points=instruction.spoils),
            Section(FILE, paragraphs=(instruction.file,)),
            Section(EXAMPLE, lines=typed_lines(instruction.example)),
        )
    )


def contents_sections() -> tuple[Section, ...]:
    """Give the list of the tests: each with its kind and what it tells."""
    points = tuple(f"{text.kind}: {text.title}. {text.answers}" for text in INSTRUCTIONS.values())
    return (
        Section(OPENING, paragraphs=("Tests that can be made, by what they need",), points=points),
        Section("How to make one of them", lines=("tuner how KIND",)),
    )


def typed_lines(command: str, width: int = 74) -> tuple[str, ...]:
    """Break a long command before its options, so that it can be copied as it stands."""
    if len(command) <= width:
        return (command,)
    first, *options = command.split(" --")
    lines = [first]
    for option in options:
        if len(lines) > 1 and len(lines[-1]) + len(option) + 3 <= width:
            lines[-1] += f" --{option}"
        else:
            lines.append(f"    --{option}")
    return (*(f"{line} \\" for line in lines[:-1]), lines[-1])
