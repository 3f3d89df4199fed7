"""A process beside the server that works sheets out: ``python -m sweep.service.side_work``.

It reads one request a line and answers each with a line, both JSON. It ends when its input does, so that it never outlives the
server, and when nothing was asked for a while, so that its memory is given back.
"""

from __future__ import annotations

import base64
import json
import os
import select
import sys
from typing import Any, BinaryIO

#: s without a request after which it ends
IDLE = 600.0


def answer(request: dict[str, Any]) -> dict[str, Any]:
    """What a request asks for; faults and failures as data."""
    from sweep.errors import BadInput, SweepFailure

    try:
        return _done(request)
    except BadInput as error:
        return {"faults": [vars(fault) for fault in error.faults]}
    except SweepFailure as error:
        return {"failure": error.what}
    except Exception as error:
        return {"failure": f"{type(error).__name__}: {error}"}


def _done(request: dict[str, Any]) -> dict[str, Any]:
    from sweep.archive import open_run

    run, design = open_run(request["run"]), request["design"]
    if request["task"] == "matter":
        from sweep.matter import summary

        return {"matter": _first(summary(run, design))}
    from sweep.report import sheet_html, sheet_pdf

    content = sheet_pdf(run, design) if request["task"] == "pdf" else sheet_html(run, design).encode()
    return {"content": base64.b64encode(content).decode()}


def _first(found: dict[str, Any]) -> dict[str, Any]:
    """What to measure and to change first."""
    from sweep.columns import HOLDING, described
    from sweep.matter_text import HOW

    unknowns = {entry["name"]: entry for entry in found["unknowns"]}
    measure = [
        {**unknowns[name], "how": HOW.get(name, f"{described(name)[1]}, on what you have printed")} for name in found["measure"]
    ]
    return {"design": found["design"], "measure": measure, "change": found["change"], HOLDING: found[HOLDING]}


def serve(requests: BinaryIO, answers: BinaryIO, idle: float = IDLE) -> None:
    """Answer until the input ends."""
    while select.select([requests], [], [], idle)[0]:
        line = requests.readline()
        if not line:
            return
        answers.write(json.dumps(answer(json.loads(line))).encode() + b"\n")
        answers.flush()


def main() -> None:
    from sweep.threads import ONE_THREAD

    os.environ.update(ONE_THREAD)
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever libraries print must not stand among the answers
    with answers, open(0, "rb", buffering=0, closefd=False) as requests:
        serve(requests, answers)
    sys.stdout.flush()


if __name__ == "__main__":
    main()
