"""``wheelfront serve``: where the server listens, and whether it may."""

from __future__ import annotations

import contextlib
import ipaddress
import os
import re
import signal
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType

from sweep.errors import BadInput, Fault, SweepFailure
from sweep.service.processes import TOKEN

LEAST_TOKEN = 16
INSTALL = "pip install -c constraints.txt -e '.[service]'"
#: connections that may wait to be taken
BACKLOG = 2048
#: s that open connections have to end in
GRACE = 3


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach an address.

    >>> is_loopback("127.0.0.1"), is_loopback("::1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, True, False)
    """
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"


def checked_token(host: str, token: str | None) -> str | None:
    """The token of a server at an address. Raises BadInput where it needs one and has none, or one that can be guessed."""
    remedy = "make one with: python -c 'import secrets; print(secrets.token_urlsafe())'"
    if token is None and not is_loopback(host):
        raise BadInput([Fault("--token", "must be given where others can reach the server", "", f"--host {host}", remedy)])
    if token is not None and (len(token) < LEAST_TOKEN or not token.isascii() or not token.isprintable() or " " in token):
        rule = f"must have at least {LEAST_TOKEN} letters, digits or signs, no spaces"
        raise BadInput([Fault("--token", rule, f"{len(token)} characters", "", remedy)])
    return token


def listening(host: str, port: int) -> socket.socket:
    """A socket that listens. Raises BadInput for a host that is none, SweepFailure where the port is taken."""
    try:
        family, kind, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0]
    except (OSError, UnicodeError) as error:
        remedy = "give an address of this machine, such as 127.0.0.1"
        raise BadInput([Fault("--host", "must be an address of this machine", repr(host), "", remedy)]) from error
    opened = socket.socket(family, kind)
    try:
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened.bind(address)
        opened.listen(BACKLOG)  # so that who comes before all is set up waits
    except OSError as error:
        opened.close()
        raise SweepFailure(
            f"the server cannot listen at {host} port {port}: {error.strerror or error}",
            go_on="give another --port, or end what listens there",
        ) from error
    return opened


def serve(host: str, port: int, results: Path, token: str | None, note: Callable[[str], None]) -> None:
    """Serve until SIGTERM or Ctrl-C. Sweeps and builds go on then. Raises BadInput, SweepFailure."""
    checked = checked_token(host, token or os.environ.get(TOKEN) or None)
    try:
        import uvicorn

        from sweep.service.access import LOOPBACK_NAMES
        from sweep.service.app import create_app
    except ImportError as error:
        raise BadInput([Fault("serve", "needs the service's libraries", "", str(error), INSTALL)]) from error
    from sweep.service.desk import Desk

    if results.exists() and not results.is_dir():
        raise BadInput([Fault("--results", "must be a folder", "a file", str(results), "name another")])
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]+:/", str(results)):
        remedy = "sweep into a store on the command line"
        raise BadInput([Fault("--results", "must be a folder of this machine", str(results), "", remedy)])
    opened = listening(host, port)
    with opened:
        app = create_app(Desk(results), token=checked, hosts={*LOOPBACK_NAMES, host.lower()})
        config = uvicorn.Config(
            app, log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=GRACE, lifespan="on"
        )
        shown = f"[{host}]" if ":" in host else host
        note(f"Serving the runs in {results} at http://{shown}:{opened.getsockname()[1]}. Ctrl-C ends it; sweeps go on.")
        if not is_loopback(host):
            note("Others can reach it and the token goes unencrypted: use it in a network you trust, or put TLS before it.")

        class Server(uvicorn.Server):
            """Ends the streams of events too: it would wait for them in vain."""

            def handle_exit(self, sig: int, frame: FrameType | None) -> None:
                app.state.listeners.end()
                super().handle_exit(sig, frame)

        with _signals_taken():
            Server(config).run(sockets=[opened])


@contextlib.contextmanager
def _signals_taken() -> Iterator[None]:
    """uvicorn ends on a signal and raises it again for whoever was there before: a clean end is status 0 here."""
    before = {number: signal.signal(number, lambda *_: None) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
