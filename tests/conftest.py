"""What tests share: an object store on loopback (moto's server), a run of the toy, whether solids can be made."""

from __future__ import annotations

import os
import subprocess
import sys
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.request import Request, urlopen

import pytest

from sweep.cad.needs import missing_library

if TYPE_CHECKING:
    from tests.service_calls import NoProcesses

os.environ.pop("COLUMNS", None)  # pytest-xdist sets it, and what the commands print would be narrower than the documents show

SERVER = """
import logging, sys
from moto.server import ThreadedMotoServer
logging.getLogger("werkzeug").setLevel(logging.ERROR)
server = ThreadedMotoServer("127.0.0.1", 0, verbose=False)
server.start()
print(server.get_host_and_port()[1], flush=True)
sys.stdin.read()
"""


@pytest.fixture(scope="session")
def object_server() -> Iterator[str]:
    """Host and port of a server. It ends with the tests, whatever becomes of them: its input is then closed."""
    with subprocess.Popen([sys.executable, "-c", SERVER], text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as server:
        assert server.stdout is not None
        try:
            yield f"127.0.0.1:{int(server.stdout.readline())}"
        finally:
            server.terminate()


@pytest.fixture
def bucket(object_server: str, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], str]:
    """A new bucket; gives the URI of a path in it."""
    for name, value in (("AWS_ACCESS_KEY_ID", "testing"), ("AWS_SECRET_ACCESS_KEY", "testing"), ("AWS_REGION", "us-east-1")):
        monkeypatch.setenv(name, value)
    monkeypatch.setenv("AWS_EC2_METADATA_DISABLED", "true")
    name = f"runs-{uuid.uuid4().hex}"
    with urlopen(Request(f"http://{object_server}/{name}", method="PUT")) as made:
        assert made.status == 200
    return lambda path: f"s3://{name}/{path}?endpoint_override={object_server}&scheme=http"


@pytest.fixture(scope="module")
def toy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished run of the toy for the service; not to be changed."""
    from tests.service_calls import toy_run

    return toy_run(tmp_path_factory.mktemp("results"))


@pytest.fixture
def nothing_starts(monkeypatch: pytest.MonkeyPatch) -> NoProcesses:
    """What the service would have started, and does not."""
    from tests.service_calls import NoProcesses

    return NoProcesses(monkeypatch)


@pytest.fixture(scope="session")
def cad_libraries() -> None:
    """Skips tests of solids where their libraries are missing, and says what to install."""
    missing = missing_library()
    if missing:
        pytest.skip(f"{missing.what}; {missing.remedy}")
