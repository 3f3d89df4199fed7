"""What tests share: the S3 interface of moto's server as an object store on loopback; whether solids can be made."""

from __future__ import annotations

import os
import subprocess
import sys
import uuid
from collections.abc import Callable, Iterator
from urllib.request import Request, urlopen

import pytest

from sweep.cad.needs import missing_library

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


@pytest.fixture(scope="session")
def cad_libraries() -> None:
    """Skips tests of solids where their libraries are missing, and says what to install."""
    missing = missing_library()
    if missing:
        pytest.skip(f"{missing.what}; {missing.remedy}")
