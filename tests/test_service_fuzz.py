"""The service under requests made up by schemathesis: it never fails and never tells of its machine."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import content_type_conformance, response_schema_conformance, status_code_conformance

from sweep.service.app import create_app
from sweep.service.desk import Desk
from sweep.service.sheets import SideProcess
from tests.problems import toy_study
from tests.service_calls import NoProcesses, built, copied, toy_run

#: of each operation, as described and otherwise
EXAMPLES = 10
CHECKS = (not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance)
#: what is put in the place of some of the names and bodies that are made up, so that they lead somewhere
KNOWN = {
    "run": ("toy", "half", "half", "cut"),
    "design": ("knee", "d0123456789", "d0000000000"),
    "file": ("coupon/coupon.md", "../../run.json"),
    "study": ("balancing", "castered"),
}
#: what no answer may hold
UNTOLD = ("Traceback", 'File "', "site-packages", "/sweep/service", "results_folder_of_the_fuzz")


def answered(_: SideProcess, request: dict[str, Any]) -> dict[str, Any]:
    if request["task"] == "matter":
        change = {
            "variable": "motor",
            "meaning": "m",
            "from": "a",
            "to": 1.0,
            "gain": 1.0,
            "objectives": {},
            "nominal": {"a": None},
        }
        return {"matter": {"design": request["design"], "measure": [], "change": [change], "share_holding": 1.0}}
    return {"content": base64.b64encode(b"a sheet").decode()}


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("results_folder_of_the_fuzz")
    toy = toy_run(place)
    built(copied(toy, place, "half", state="stopped"))
    (copied(toy, place, "cut") / "front.parquet").write_bytes(b"PAR1")
    return place


@pytest.fixture(scope="module")
def described(results: Path) -> Iterator[Any]:
    """The service's description, with nothing that starts and nothing that draws."""
    with pytest.MonkeyPatch.context() as patch:
        NoProcesses(patch)
        patch.setattr(SideProcess, "ask", answered)
        app = create_app(Desk(results), page=False, hosts=("localhost", "testserver"))
        made = schemathesis.openapi.from_asgi("/api/openapi.json", app)

        @made.hook
        def map_path_parameters(_: Any, given: dict[str, Any] | None) -> dict[str, Any] | None:
            if not given:
                return given
            for key, known in KNOWN.items():
                name = given.get(key)
                if isinstance(name, str) and sum(name.encode("utf-8", "replace")) % 4:
                    given[key] = known[len(name) % len(known)]
            return given

        @made.hook
        def map_body(_: Any, body: Any) -> Any:
            if isinstance(body, dict) and isinstance(body.get("study"), str) and len(body["study"]) % 2:
                body["study"] = toy_study().text
            return toy_study().text if isinstance(body, str) and len(body) % 2 else body

        yield made


@pytest.mark.slow
@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_nothing_that_is_asked_makes_it_fail(described: Any, mode: GenerationMode, subtests: pytest.Subtests) -> None:
    """Requests as the description has them, and others."""
    operations = [found.ok() for found in described.get_all_operations()]
    assert len(operations) > 20
    seen: set[int] = set()
    for operation in operations:

        @settings(
            max_examples=EXAMPLES, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
        )
        @given(case=operation.as_strategy(generation_mode=mode))
        def ask(case: schemathesis.Case) -> None:
            response = case.call()
            seen.add(response.status_code)
            case.validate_response(response, checks=list(CHECKS))
            text = response.content.decode("utf-8", "replace")
            assert [word for word in UNTOLD if word in text] == []

        with subtests.test(operation.label):
            try:
                ask()
            except Unsatisfiable:  # what takes nothing can be given nothing wrong
                assert mode is GenerationMode.NEGATIVE
    assert {200, 404, 409, 422} <= seen


def test_what_is_untold_would_be_found() -> None:
    assert any(word in 'Traceback (most recent call last):\n  File "a.py"' for word in UNTOLD)
