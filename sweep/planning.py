"""What a sweep sets itself: how many evaluations, in how many islands and how long epochs, and how they begin."""

from __future__ import annotations

import datetime
import platform
import socket
from typing import Any

from sweep.archive import RunFolder, versions
from sweep.errors import BadInput, Fault
from sweep.search import SIZE
from sweep.study import Search, Study

#: an epoch is a twentieth of an island's share, at least and at most so many generations; the least counts generations of SIZE.
#: Islands exchange designs after it and find less if they seldom do; one alone exchanges none, and the front is merged and
#: written after it, which takes its time
EPOCHS = 20
SHORTEST_EPOCH, LONGEST_EPOCH = 2, 20
SHORTEST_ALONE = 16
#: where there would be fewer generations than this they are smaller, and so is the population: one that is small turns to the
#: better wheels sooner. In a long sweep breadth counts
FEW_GENERATIONS, SMALLEST = 60, 32
#: in a sweep of one island and so few evaluations a surrogate model proposes the first ones. Children of parents need three
#: times as many to get as far. The model takes a millisecond for each, and a long sweep that begins so ends with less breadth
FEW_EVALUATIONS, MODELLED = 3000, 1000
#: of the hours asked for, the share that the search may plan with; the rest is for the front and for writing
PLANNED_SHARE = 0.9


def planned(study: Study, evaluations: int | None, hours: float | None, seed: int | None) -> dict[str, Any]:
    """What run.json says at first. With hours, the number of evaluations is not known yet."""
    search = study.search
    hours = None if evaluations is not None else hours if hours is not None else search.hours
    return {
        "study": study.name,
        "study_hash": study.hash,
        "seed": search.seed if seed is None else seed,
        "hours": hours,
        "evaluations": None if hours else evaluations if evaluations is not None else search.evaluations,
        "phases": search.phases,
        "front_phases": search.front_phases,
        "keep": search.keep,
        "versions": {"python": platform.python_version(), **versions()},
        "host": socket.gethostname(),
        "started": now(),
        "state": "planned",
        "evaluations_done": 0,
    }


def unknowns_of(folder: RunFolder, study: Study, asked: bool, robust: bool) -> tuple[int, bool]:
    """How many samples a run's front is scored over, and whether it searches for percentiles: as it began, or as asked."""
    about = folder.about()
    began = {} if about is None else about.get("uncertainty") or {}
    if about is not None and robust and not began.get("robust"):
        rule, remedy = "must be given when a run begins", "leave it out, or give another --out"
        raise BadInput([Fault("--robust", rule, "a run without it", str(folder.location), remedy)])
    robust = robust or bool(began.get("robust"))
    wanted = asked or robust or (about is None and study.uncertainty.given)
    return began.get("samples") or (study.uncertainty.samples if wanted else 0), robust


def evaluations_in(hours: float, rate: float, workers: int, search: Search) -> int:
    """How many evaluations a search plans whose ``workers`` score ``rate`` a second each; no more work than there are islands.

    >>> evaluations_in(8, 600, 2, Search()), evaluations_in(0.01, 600, 2, Search())
    (31104000, 19440)
    """
    for islands in range(search.islands, 0, -1):
        evaluations = max(SIZE, int(PLANNED_SHARE * hours * 3600 * rate * min(workers, islands)))
        if spread(evaluations, search)["islands"] >= islands:
            break
    return evaluations


def spread(evaluations: int, search: Search) -> dict[str, int]:
    """Islands, candidates of a generation, evaluations of an island's epoch, which are some seconds of work, and how many of an
    island's first evaluations a surrogate model proposes. Counts alone decide.

    >>> spread(1000, Search())
    {'islands': 1, 'generation': 32, 'epoch': 512, 'modelled': 1000}
    >>> spread(40_000, Search())
    {'islands': 2, 'generation': 96, 'epoch': 1056, 'modelled': 0}
    """
    islands = max(1, min(search.islands, evaluations // search.island_evaluations))
    generation = min(max(evaluations // FEW_GENERATIONS, SMALLEST), SIZE)
    generations = -(-evaluations // (islands * EPOCHS * generation))
    shortest = -(-SHORTEST_EPOCH * SIZE // generation) if islands > 1 else SHORTEST_ALONE
    return {
        "islands": islands,
        "generation": generation,
        "epoch": generation * min(max(generations, shortest), LONGEST_EPOCH),
        "modelled": min(evaluations, MODELLED) if evaluations <= FEW_EVALUATIONS and islands == 1 else 0,
    }


def late(about: dict[str, Any], seconds: float, epochs: int, evaluations: int, front: int, samples: int) -> bool:
    """Whether the hours would be over with one more epoch and the scoring of the front after it.

    ``seconds`` is what ``epochs`` and their ``evaluations`` took, ``front`` how many designs are to be scored again, and at so
    many ``samples``.
    """
    if not about["hours"]:
        return False
    again = front * (about["front_phases"] / about["phases"] + samples) * seconds / max(evaluations, 1)
    return seconds + seconds / max(epochs, 1) + again > about["hours"] * 3600


def now() -> str:
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
