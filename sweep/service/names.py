"""Names that come from outside: what they may be made of, so that none leaves its folder; what is told without paths."""

from __future__ import annotations

import re
from pathlib import Path

from sweep.service.summaries import NotThere

#: a run's folder, a design; letters of other alphabets and leading dots are left out on purpose
RUN = r"^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$"
DESIGN = r"^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$"
STUDY = r"^[A-Za-z0-9][A-Za-z0-9_-]{0,79}$"
#: what the service keeps, beside the runs; no run can have this name
OWN = ".service"

_ABSOLUTE = re.compile(r"(?<![\w.:/])(?:/[\w.@+,=-]+)+/?")
LONGEST_MESSAGE = 600


def fits(pattern: str, name: str) -> bool:
    """Whether a whole name is made as a pattern says; unlike ``$`` it takes no line end for the end."""
    return re.fullmatch(pattern.removeprefix("^").removesuffix("$"), name) is not None


def place_of(results: Path, name: str) -> Path:
    """The folder of a run. Raises NotThere where the name could not be one's, or a link would lead out of the results folder.

    >>> place_of(Path("results"), "scout").name
    'scout'
    """
    place = results / name
    if not fits(RUN, name) or place.resolve() != results.resolve() / name:
        raise NotThere(f"there is no run {shortened(name)!r}")
    return place


def check_design(design: str) -> str:
    """The name of a design. Raises NotThere where it could not be one's."""
    if not fits(DESIGN, design):
        raise NotThere(f"there is no design {shortened(design)!r}")
    return design


def can_be_written(text: str) -> bool:
    """Whether a text is one in UTF-8: JSON can hold halves of characters that are none."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def shortened(name: str) -> str:
    return name if len(name) <= 80 else f"{name[:77]}..."


def without_paths(text: str, results: Path | None = None) -> str:
    """A message without places of this machine: names below the results folder stay, of others the last one.

    >>> without_paths("no space in /srv/runs/scout/front.parquet, see /etc/fstab", Path("/srv/runs"))
    'no space in scout/front.parquet, see fstab'
    >>> without_paths("sideways 3 m/s and/or 1/min")
    'sideways 3 m/s and/or 1/min'
    """
    if results is not None:
        for root in {str(results.absolute()), str(results.resolve())}:
            text = text.replace(f"{root}/", "").replace(root, "the results folder")
    return _ABSOLUTE.sub(lambda found: found[0].rstrip("/").rsplit("/", 1)[-1], text)


def one_line(text: str) -> str:
    """Lines as one, not too long for a page."""
    line = " ".join(part.strip() for part in text.splitlines() if part.strip())
    return line if len(line) <= LONGEST_MESSAGE else f"{line[: LONGEST_MESSAGE - 3]}..."
