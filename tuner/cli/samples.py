"""Where the sample files are: beside a checkout, or among the data files of an installed package.

Takes nothing, gives a folder.
"""

from __future__ import annotations

import importlib.metadata
import sysconfig
from collections.abc import Iterator
from pathlib import Path

from tuner.errors import ReadError

MACHINE = "dune_hopper.toml"
INSTALLED = Path("share", "tuner", "sample_data")  # below the installation's data folder, see pyproject.toml


def _places() -> Iterator[Path]:
    home = Path(__file__).resolve().parents[2]
    yield home / "sample_data"
    try:
        listed = importlib.metadata.files("tuner") or []
    except importlib.metadata.PackageNotFoundError:
        listed = []
    for file in listed:
        if file.name == MACHINE:
            yield Path(str(file.locate())).resolve().parent
    yield home / INSTALLED
    for scheme in sysconfig.get_scheme_names():
        yield Path(sysconfig.get_path("data", scheme)) / INSTALLED


def sample_folder() -> Path:
    """Find the folder of the sample files; raises ReadError when this installation has none."""
    for place in _places():
        if (place / MACHINE).is_file():
            return place
    raise ReadError(
        "the sample files did not come with this installation",
        hint="Get the project's source folder and run 'tuner demo' in it.",
    )
