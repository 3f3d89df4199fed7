"""What the service answers, as documents with a meaning for each field."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, Field

from sweep.service.names import DESIGN, RUN
from sweep.service.problems import FaultTold

State = Literal["starting", "searching", "scoring the front again", "stopped", "finished", "failed", "damaged"]


class Health(BaseModel):
    """The server is up."""

    status: Literal["up"] = Field("up", description="always up")


class Run(BaseModel):
    """A run as it stands."""

    name: str = Field(description="of the run's folder")
    study: str = Field(description="name that the study gives itself")
    state: State = Field(description="what the run is at; starting: its process is up and has found nothing yet")
    evaluations: int = Field(description="designs scored so far")
    planned: int = Field(description="designs to score in all, 0 where not known yet")
    feasible: int = Field(description="of those scored, how many hold every constraint")
    front_size: int = Field(description="designs on the front")
    hypervolume: float | None = Field(description="between the bounds of the first front, null where there is none yet")
    rate_per_s: float | None = Field(description="designs a second, while searching")
    seconds_left: float | None = Field(description="of the stage that the run is at [s]")
    began: str | None = Field(description="when the run began, ISO 8601")
    message: str = Field(description="empty, or why it failed or what to do")
    stage: str = Field(description="what the sweep says that it does")


class RunList(BaseModel):
    """All runs of the results folder."""

    runs: list[Run] = Field(description="the newest first")


class Submission(BaseModel):
    """A study to sweep."""

    model_config = {"extra": "forbid"}
    study: str = Field(description="the study as TOML text")
    name: str | None = Field(None, pattern=RUN, description="of the run; made from the study's name where it is left out")
    evaluations: int | None = Field(None, ge=1, le=10**9, description="designs to score, in place of the study's number")
    seed: int | None = Field(None, ge=0, le=2**32 - 1, description="of the search, in place of the study's")
    workers: int | None = Field(None, ge=1, le=1024, description="processes to search with; one without workers if left out")


class StudyCheck(BaseModel):
    """Whether a study can be swept here."""

    sound: bool = Field(description="whether nothing is wrong with it")
    faults: list[FaultTold] = Field(description="everything that is wrong with it, empty where it is sound")


class StudyList(BaseModel):
    """Studies that are shipped, to begin from."""

    studies: list[str] = Field(description="their names")


class Step(BaseModel):
    """The end of an epoch."""

    evaluations: int = Field(description="designs scored so far")
    epoch: int = Field(description="number of the epoch, from 0")
    feasible: int = Field(description="of those scored, how many hold every constraint")
    front: int = Field(description="designs on the front")
    hypervolume: float | None = Field(description="of the front, 0 before it can be measured")
    seconds: float = Field(description="at work so far [s]")


class Progress(BaseModel):
    """How a run came along."""

    run: str = Field(description="name of the run")
    steps: list[Step] = Field(description="the oldest first")


class Column(BaseModel):
    """What a column holds."""

    unit: str = Field(description="1 for a plain number, empty for words")
    meaning: str = Field(description="in words")


Value = bool | int | float | str | None


class FrontTable(BaseModel):
    """The front of a run."""

    run: str = Field(description="name of the run")
    study: str = Field(description="name that the study gives itself")
    study_hash: str = Field(description="of what the study says; empty before the run has begun")
    count: int = Field(description="how many designs are listed")
    columns: dict[str, Column] = Field(description="by name, in their order")
    designs: list[dict[str, Value]] = Field(description="a value for each column; null where a number is missing")


class Design(BaseModel):
    """One design of a run."""

    run: str = Field(description="name of the run")
    design: str = Field(description="its id")
    columns: dict[str, Column] = Field(description="by name, in their order")
    values: dict[str, Value] = Field(description="a value for each column; null where a number is missing")


class ToMeasure(BaseModel):
    """Something to measure, since much hangs on it."""

    name: str = Field(description="of the unknown")
    how: str = Field(description="how a maker measures it")
    meaning: str = Field(description="in words")
    spread: str = Field(description="how well it is known so far")
    weight: float | None = Field(description="share of the spread of all objectives that hangs on it, 0 to 1")


class ToChange(BaseModel):
    """A small change that makes the design better and breaks nothing."""

    model_config = {"populate_by_name": True}
    variable: str = Field(description="what to change")
    meaning: str = Field(description="in words")
    before: str | float = Field(alias="from", description="its value now")
    to: str | float = Field(description="its value then")
    objectives: dict[str, float | None] = Field(description="by how much each objective changes")
    nominal: dict[str, float | None] = Field(description="each objective now")


class Matter(BaseModel):
    """What matters most for a design."""

    design: str = Field(description="its id")
    measure: list[ToMeasure] = Field(description="what to measure first, up to three")
    change: list[ToChange] = Field(description="what to change first, up to three")
    share_holding: float | None = Field(description="share of the samples in which every limit holds")


class Build(BaseModel):
    """The build of a design as it stands."""

    design: str = Field(description="its id")
    state: Literal["none", "building", "done", "failed"] = Field(description="what the build is at")
    share: float = Field(ge=0, le=1, description="of its stages that are over")
    message: str = Field(description="the stage it is at, or what went wrong")
    proof_holds: bool | None = Field(description="whether everything was proven on the solids; null without a build")
    files: list[str] = Field(description="names of the files that are there")


class ShortlistEntry(BaseModel):
    """A design that was chosen to be looked at."""

    model_config = {"extra": "forbid"}
    design: str = Field(pattern=DESIGN, description="its id")
    note: str = Field("", max_length=500, description="why it was chosen")


class Shortlist(BaseModel):
    """The designs of a run that were chosen to be looked at."""

    model_config = {"extra": "forbid"}
    designs: list[ShortlistEntry] = Field(max_length=6, description="six at most, each once")


def told(model: type[BaseModel], what: Any, **more: Any) -> Any:
    """A summary as its document."""
    return model.model_validate({**vars(what), **more})
