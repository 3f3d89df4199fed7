"""Who may ask the service, what it refuses, and what it never tells."""

from __future__ import annotations

import asyncio
import re
import socket
import sys
import time
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI, WebSocket
from fastapi.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from sweep.service import access
from sweep.service.access import COOKIE, LOGIN_SECONDS, Guard, Token
from sweep.service.desk import Desk, NotNow, RunSummary
from sweep.service.events import Listeners
from sweep.service.serving import checked_token, is_loopback
from tests.command_line import ROOT, call
from tests.service_calls import BASE, TOKEN, client, desk_over

PROBLEM = "application/problem+json"
#: addresses of every kind
ADDRESSES = ("/api/runs", "/api/openapi.json", "/api/runs/x/events", "/api/nothing")


@pytest.fixture(scope="module")
def open_calls(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A service without a token, over no runs."""
    with client(Desk(tmp_path_factory.mktemp("open"))) as calls:
        yield calls


@pytest.fixture(scope="module")
def behind_token(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with client(Desk(tmp_path_factory.mktemp("shut")), TOKEN) as calls:
        yield calls


@pytest.fixture
def shut_calls(behind_token: TestClient) -> TestClient:
    """A service with a token that nobody has logged in at."""
    behind_token.cookies.clear()
    return behind_token


# the token


@pytest.mark.parametrize("address", ADDRESSES)
@pytest.mark.parametrize(
    "given",
    [None, "", "Bearer", "Bearer ", f"Bearer {TOKEN[:-1]}", f"Bearer {TOKEN}x", f"Basic {TOKEN}", TOKEN, "Bearer \xe9"],
)
def test_without_the_token_nothing_is_told(shut_calls: TestClient, address: str, given: str | None) -> None:
    answer = shut_calls.get(address, headers={} if given is None else {"authorization": given.encode("latin-1")})
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"
    assert answer.headers["content-type"] == PROBLEM


def test_with_the_token_all_is_open(shut_calls: TestClient) -> None:
    for kind in ("Bearer", "bearer"):
        assert shut_calls.get("/api/runs", headers={"authorization": f"{kind} {TOKEN}"}).json() == {"runs": []}
    assert shut_calls.get("/api/health").json() == {"status": "up"}


def test_a_browser_is_led_to_the_form_and_back(shut_calls: TestClient) -> None:
    led = shut_calls.get("/run/scout")
    assert (led.status_code, led.headers["location"]) == (303, "/login?next=/run/scout")
    form = shut_calls.get(led.headers["location"])
    assert 'name="next" value="/run/scout"' in form.text
    wrong = shut_calls.post("/login", data={"token": "not it", "next": "/run/scout"})
    assert (wrong.status_code, COOKIE in wrong.headers.get("set-cookie", "")) == (401, False)
    assert 'role="alert"' in wrong.text
    right = shut_calls.post("/login", data={"token": TOKEN, "next": "/run/scout"})
    assert (right.status_code, right.headers["location"]) == (303, "/run/scout")
    cookie = right.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert TOKEN not in cookie
    assert shut_calls.get("/api/runs").status_code == 200  # the cookie is sent now


@pytest.mark.parametrize(
    "there", ["https://elsewhere", "//elsewhere", "/\\elsewhere", "elsewhere", '"><script>', "/a\r\nset-cookie: b"]
)
def test_a_login_leads_nowhere_else(shut_calls: TestClient, there: str) -> None:
    answer = shut_calls.post("/login", data={"token": TOKEN, "next": there})
    assert answer.headers["location"] == "/"
    assert "<script>" not in shut_calls.get("/login", params={"next": there}).text


def test_a_session_ends_and_cannot_be_made_up() -> None:
    token, now = Token(TOKEN), time.time()
    given = token.session(now)
    assert token.is_session(given, now + LOGIN_SECONDS - 1)
    assert not token.is_session(given, now + LOGIN_SECONDS + 1)
    began, _, proof = given.partition(".")
    for other in (f"{int(began) + 5}.{proof}", began, f".{proof}", "", "a.b", "9" * 5000 + ".x", "é.é", "\ud800.x"):
        assert not token.is_session(other, now)
    assert not Token(TOKEN + "x").is_session(given, now)


def test_tokens_are_compared_in_constant_time(monkeypatch: pytest.MonkeyPatch) -> None:
    compared = []

    def compare(a: bytes, b: bytes) -> bool:
        compared.append(len(a) == len(b))
        return a == b

    monkeypatch.setattr("sweep.service.access.hmac.compare_digest", compare)
    assert not Token(TOKEN).is_token("short")
    assert Token(TOKEN).is_token(TOKEN)
    assert compared == [True, True]


def test_without_a_token_the_form_leads_on(open_calls: TestClient) -> None:
    assert open_calls.get("/login").headers["location"] == "/"
    assert open_calls.post("/login", data={"token": "any"}).headers["location"] == "/"


# a websocket, as the page uses one


def socket_app(token: str | None) -> Guard:
    app = FastAPI()

    @app.websocket("/page/socket")
    async def talk(socket: WebSocket) -> None:
        await socket.accept()
        await socket.send_text("hello")

    return Guard(app, Token(token) if token else None, access.LOOPBACK_NAMES, 1000)


def hello(app: Guard, **headers: str) -> str:
    with TestClient(app, base_url=BASE).websocket_connect("/page/socket", headers=headers) as opened:
        return opened.receive_text()


def test_a_websocket_needs_the_token_too() -> None:
    app = socket_app(TOKEN)
    assert hello(app, cookie=f"{COOKIE}={Token(TOKEN).session()}") == "hello"
    assert hello(app, authorization=f"Bearer {TOKEN}") == "hello"
    for headers in ({}, {"cookie": f"{COOKIE}=1.2"}, {"cookie": f"{COOKIE}={TOKEN}"}):
        with pytest.raises(WebSocketDisconnect):
            hello(app, **headers)


def test_a_websocket_of_another_site_is_refused() -> None:
    app = socket_app(None)
    # the test client's own name for a websocket's host
    assert hello(app, host="localhost", origin="http://localhost") == "hello"
    for headers in ({"origin": "http://elsewhere"}, {"origin": "null"}, {"host": "elsewhere", "origin": "http://elsewhere"}):
        with pytest.raises(WebSocketDisconnect):
            hello(app, **{"host": "localhost", **headers})


# other sites and other names


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://elsewhere"}, {"origin": "null"}, {"origin": "http://localhost.elsewhere"}, {"origin": "http://[bad"},
        {"origin": "http://localhost:3000"}, {"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"},
    ],
)  # fmt: skip
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
def test_changes_asked_for_by_other_sites_are_refused(open_calls: TestClient, method: str, headers: dict[str, str]) -> None:
    answer = open_calls.request(method, "/api/runs", headers=headers)
    assert answer.status_code == 403
    own = open_calls.post("/api/studies/check", headers={"origin": BASE, "sec-fetch-site": "same-origin"})
    assert own.status_code == 415


@pytest.mark.parametrize("host", ["elsewhere", "127.0.0.1.elsewhere", "localhost.elsewhere:8730", "", "[bad", "10.0.0.5"])
def test_on_loopback_only_its_own_names_are_answered(open_calls: TestClient, shut_calls: TestClient, host: str) -> None:
    assert open_calls.get("/api/runs", headers={"host": host}).status_code == 421
    assert shut_calls.get("/api/runs", headers={"host": host, "authorization": f"Bearer {TOKEN}"}).status_code == 200


@pytest.mark.parametrize("host", ["localhost", "localhost:8730", "LOCALHOST", "127.0.0.1:9", "[::1]:8730"])
def test_the_names_of_loopback(open_calls: TestClient, host: str) -> None:
    assert open_calls.get("/api/runs", headers={"host": host}).status_code == 200


def test_every_answer_says_what_it_is(open_calls: TestClient) -> None:
    for address in ("/", "/api/runs", "/api/runs/none", "/nothing"):
        headers = open_calls.get(address).headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "SAMEORIGIN"
        assert not address.startswith("/api") or headers["cache-control"] == "no-store"


# bodies


def parts(count: int, size: int) -> Iterator[bytes]:
    """A body whose length is not told beforehand."""
    for _ in range(count):
        yield b"#" * size


def test_large_bodies_are_refused_told_or_not(tmp_path: Path) -> None:
    kind = {"content-type": "text/plain"}
    with client(desk_over(tmp_path, body_bytes=1000)) as calls:
        for content in (b"#" * 1001, parts(11, 100)):
            answer = calls.post("/api/studies/check", content=content, headers=kind)
            assert (answer.status_code, answer.headers["content-type"]) == (413, PROBLEM)
        for content in (b"#" * 1000, parts(10, 100)):
            assert calls.post("/api/studies/check", content=content, headers=kind).status_code == 200
        assert calls.post("/login", content=b"#" * 1001).status_code == 413


def asked(app: Guard, headers: list[tuple[bytes, bytes]], receive: Any) -> list[dict[str, Any]]:
    """What an application sends for a POST."""
    sent: list[dict[str, Any]] = []

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {"type": "http", "method": "POST", "path": "/", "headers": [(b"host", b"localhost"), *headers], "query_string": b""}
    asyncio.run(app(scope, receive, send))  # type: ignore[arg-type]
    return sent


def test_a_body_that_does_not_come_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(access, "BODY_SECONDS", 0.05)

    async def never() -> Any:
        await asyncio.sleep(30)

    sent = asked(socket_app(None), [(b"content-length", b"10")], never)
    assert sent[0]["status"] == 408


def test_a_body_is_not_read_further_than_the_limit() -> None:
    read = 0

    async def endless() -> Any:
        nonlocal read
        read += 100
        return {"type": "http.request", "body": b"#" * 100, "more_body": True}

    sent = asked(socket_app(None), [(b"transfer-encoding", b"chunked")], endless)
    assert (sent[0]["status"], read) == (413, 1100)


# failures


def test_a_failure_of_the_server_tells_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_: Desk) -> list[RunSummary]:
        raise RuntimeError("a secret in /srv/secret")

    monkeypatch.setattr(Desk, "runs", fail)
    with client(Desk(tmp_path), raise_server_exceptions=False) as calls:
        answer = calls.get("/api/runs")
    assert (answer.status_code, answer.headers["content-type"]) == (500, PROBLEM)
    assert all(word not in answer.text for word in ("secret", "Traceback", "RuntimeError"))


def test_a_full_disk_is_told_without_its_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> str:
        raise OSError(28, "No space left on device", "/srv/secret/file")

    monkeypatch.setattr(Desk, "submit", full)
    with client(Desk(tmp_path)) as calls:
        answer = calls.post("/api/runs", content="a = 1", headers={"content-type": "text/plain"})
    assert (answer.status_code, "No space left" in answer.text, "secret" in answer.text) == (503, True, False)


@pytest.mark.parametrize(("method", "address", "status"), [("DELETE", "/api/runs", 405), ("GET", "/api/nothing", 404)])
def test_other_refusals_are_problems_too(open_calls: TestClient, method: str, address: str, status: int) -> None:
    answer = open_calls.request(method, address)
    assert (answer.status_code, answer.headers["content-type"], answer.json()["status"]) == (status, PROBLEM, status)


# the description


def test_every_operation_is_described(open_calls: TestClient) -> None:
    document = open_calls.get("/api/openapi.json").json()
    tags = {tag["name"] for tag in document["tags"]}
    names, used = [], set()
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            what = f"{method} {path}"
            names.append(operation["operationId"])
            used |= set(operation["tags"])
            assert operation["summary"], what
            assert operation["description"].endswith("."), what
            assert all(entry.get("description") for entry in operation.get("parameters", [])), what
            good = next(response for status, response in operation["responses"].items() if status[0] in "23")
            for kind, content in good.get("content", {}).items():
                assert kind != "application/json" or "$ref" in content["schema"], what
            for status, response in operation["responses"].items():
                assert response["description"], what
                assert status[0] != "4" or path == "/login" or list(response["content"]) == [PROBLEM], f"{what} {status}"
            assert path == "/api/health" or {"401", "403", "421"} <= set(operation["responses"]), what
    assert used == tags
    assert len(names) == len(set(names))
    for name, schema in document["components"]["schemas"].items():
        assert schema["description"], name
        for field, told in schema["properties"].items():
            assert told.get("description"), f"{name}.{field}"


def test_the_readme_names_every_address(open_calls: TestClient) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    chapter = readme[readme.index("## Service") : readme.index("## A study")]
    for path in open_calls.get("/api/openapi.json").json()["paths"]:
        last = [part for part in path.split("/") if "{" not in part][-1]
        assert last in {*re.findall(r"\w[\w.]*", chapter), "health", "login"}, path


# following


class Changing(Desk):
    """A desk whose only run goes through states, one each time it is looked at."""

    def __init__(self, *states: str) -> None:
        self.states = list(states)

    def version(self, name: str) -> str:
        return f"{len(self.states)}"

    def run(self, name: str) -> RunSummary:
        state = self.states.pop(0) if len(self.states) > 1 else self.states[0]
        return RunSummary(name, "a study", state, 1, 2, 1, 1, None, None, None, None, "", state)


async def all_of(stream: AsyncIterator[bytes]) -> list[bytes]:
    return [part async for part in stream]


def test_a_run_is_followed_to_its_end() -> None:
    parts = asyncio.run(all_of(Listeners(1).follow(Changing("starting", "searching", "finished"), "a", look=0.001)))
    kinds = [part.decode().splitlines()[0] for part in parts]
    assert kinds == ["event: run", "event: run", "event: run", "event: end"]
    assert '"state": "finished"' in parts[-1].decode()


def test_silence_is_filled_and_a_listener_that_leaves_is_let_go() -> None:
    listeners = Listeners(1)

    async def listen() -> list[bytes]:
        stream = listeners.follow(Changing("searching"), "a", look=0.01, silence=0.03)
        heard = [await anext(stream), await anext(stream)]
        with pytest.raises(NotNow):
            listeners.check()
        await stream.aclose()  # type: ignore[attr-defined]
        return heard

    assert asyncio.run(listen())[1] == b": still here\n\n"
    listeners.check()


# the command


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "a-machine"])
def test_other_addresses_than_loopback_need_a_token(host: str, tmp_path: Path) -> None:
    assert not is_loopback(host)
    outcome = call("serve", "--host", host, "--results", tmp_path)
    assert outcome.status == 2
    assert "--token must be given where others can reach the server" in outcome.err
    assert checked_token(host, TOKEN) == TOKEN


@pytest.mark.parametrize("token", ["short", "with spaces in it it is long", "ünicode-is-not-for-headers", "a\nb" * 9])
def test_tokens_that_can_be_guessed_or_not_be_sent_are_refused(token: str, tmp_path: Path) -> None:
    outcome = call("serve", "--token", token, "--results", tmp_path)
    assert outcome.status == 2
    assert token not in outcome.err


def test_a_port_that_is_taken(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        outcome = call("serve", "--port", taken.getsockname()[1], "--results", tmp_path)
    assert outcome.status == 1
    assert "give another --port" in outcome.err


def test_results_that_are_no_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").touch()
    monkeypatch.chdir(tmp_path)
    for place in (tmp_path / "file", "s3://bucket/runs"):
        assert call("serve", "--results", place).status == 2
    assert [entry.name for entry in tmp_path.iterdir()] == ["file"]


def test_libraries_that_are_missing_are_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    outcome = call("serve", "--results", tmp_path)
    assert (outcome.status, "'.[service]'" in outcome.err) == (2, True)
