"""Where tasks run: in this process, or on Ray's workers here or in a cluster. What they return is the same.

A task is a function of a module and gets ``pulse`` as its first argument, to be called with the number of candidates scored
after each few of them: where the task runs in the process of the sweep it counts them and raises ``Stopped`` once the sweep
is to end. Arguments may be references to what other tasks return; such a task begins when they are there.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib
import logging
import os
import platform
import secrets
import shutil
import signal
import socket
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Protocol

from sweep.archive import versions
from sweep.errors import BadInput, Fault, SweepFailure
from sweep.threads import ONE_THREAD

Pulse = Callable[[int], None]

#: times that a task is run again after its worker has died
RETRIES = 3
#: s, between looks at whether the sweep is to end, and between looks at whether there are machines left
LOOK_SECONDS, MACHINES_SECONDS = 0.2, 10.0
#: s, that starting Ray, reaching an address, joining a cluster and asking its machines may take
START_SECONDS, REACH_SECONDS, JOIN_SECONDS, ASK_SECONDS = 180.0, 5.0, 30.0, 60.0
#: s, that a sweep which ends waits for Ray's processes to do so
CLOSE_SECONDS = 3.0
#: bytes of shared memory for what tasks return, which is small
STORE_BYTES = 128 * 2**20
#: characters of a folder for sockets, whose full names may have 107
LONGEST_FOLDER = 30


class TaskDied(Exception):  # noqa: N818
    """A task's worker died, and again at each repetition."""


class Executor(Protocol):
    """Runs tasks. ``workers`` is how many at once."""

    workers: int

    def share(self, value: Any) -> Any:
        """A reference to a value that many tasks are given."""

    def submit(
        self, task: Callable[..., Any], *arguments: Any, results: int = 1, retries: int = RETRIES
    ) -> tuple[Any, ...]:
        """References to what ``task(pulse, *arguments)`` will return; with ``results`` above 1 it returns so many values.

        A task whose worker dies is run again at most ``retries`` times.
        """

    def value(self, reference: Any) -> Any:
        """What a reference stands for, waited for if need be. Raises what the task raised, ``TaskDied``, or ``Stopped``."""

    def cancel(self, reference: Any) -> None:
        """Nobody wants what a reference stands for any more."""


@contextlib.contextmanager
def executor(workers: int | None, address: str | None, pulse: Pulse) -> Iterator[Executor]:
    """Ray with so many workers on this machine, or Ray's cluster at ``address``, or this process where neither is given."""
    if address is not None:
        with _cluster(address, pulse) as joined:
            yield joined
    elif workers is not None:
        with _this_machine(workers, pulse) as started:
            yield started
    else:
        yield Inline(pulse)


class _Call:
    """A task that runs once, when the first of its results is asked for."""

    def __init__(self, task: Callable[..., Any], arguments: tuple[Any, ...], results: int) -> None:
        self.task, self.arguments, self.results = task, arguments, results
        self.returned: tuple[Any, ...] | None = None


@dataclass(frozen=True)
class _Result:
    call: _Call
    index: int


class Inline:
    """Runs tasks in this process, one after the other and none before it is needed."""

    workers = 1

    def __init__(self, pulse: Pulse) -> None:
        self._pulse = pulse

    def share(self, value: Any) -> Any:
        return value

    def submit(
        self, task: Callable[..., Any], *arguments: Any, results: int = 1, retries: int = RETRIES
    ) -> tuple[Any, ...]:
        call = _Call(task, arguments, results)
        return tuple(_Result(call, index) for index in range(results))

    def value(self, reference: Any) -> Any:
        if not isinstance(reference, _Result):
            return reference
        call = reference.call
        if call.returned is None:
            returned = call.task(self._pulse, *(self.value(argument) for argument in call.arguments))
            call.returned = (returned,) if call.results == 1 else tuple(returned)
            call.arguments = ()  # or every epoch would hold the one before
        return call.returned[reference.index]

    def cancel(self, reference: Any) -> None:
        """Nothing has begun that is not asked for."""


class OnRay:
    """Runs tasks on Ray, which must have been started. Its workers die and come back without the results knowing."""

    def __init__(self, workers: int, pulse: Pulse) -> None:
        import ray

        self.workers = workers
        self._ray, self._pulse = ray, pulse
        self._task = ray.remote(num_cpus=1)(_task)
        self._digest = digest(fingerprint())
        for _ in range(workers):  # all load at once, not each when it gets its first epoch
            self._task.remote(self._digest, _load)

    def share(self, value: Any) -> Any:
        return self._ray.put(value)

    def submit(
        self, task: Callable[..., Any], *arguments: Any, results: int = 1, retries: int = RETRIES
    ) -> tuple[Any, ...]:
        references = self._task.options(num_returns=results, max_retries=retries).remote(self._digest, task, *arguments)
        return (references,) if results == 1 else tuple(references)

    def value(self, reference: Any) -> Any:
        if not isinstance(reference, self._ray.ObjectRef):
            return reference
        looked = time.monotonic()
        while not self._ray.wait([reference], timeout=LOOK_SECONDS)[0]:
            self._pulse(0)
            if time.monotonic() - looked > MACHINES_SECONDS:
                looked = time.monotonic()
                self._check_machines()
        self._pulse(0)
        errors = self._ray.exceptions
        try:
            return self._ray.get(reference)
        except errors.RayTaskError as error:
            if isinstance(error.cause, Exception):
                raise error.cause from None
            raise RuntimeError(str(error)) from None
        except (errors.WorkerCrashedError, errors.OutOfMemoryError, errors.NodeDiedError, errors.ObjectLostError) as error:
            raise TaskDied(str(error).splitlines()[0]) from None

    def cancel(self, reference: Any) -> None:
        self._ray.cancel(reference)

    def _check_machines(self) -> None:
        if not self._ray.cluster_resources().get("CPU"):
            raise SweepFailure(
                "no machine is left in the cluster that runs tasks",
                safe="all epochs that were reported done",
                go_on="bring machines back, then --resume, with --ray, --workers or neither",
            )


def _task(asked: str, task: Callable[..., Any], *arguments: Any) -> Any:
    """What a worker does. A machine that joined late may have other versions than those that were asked at the start."""
    if digest(fingerprint()) != asked:
        raise _mismatch(socket.gethostname(), fingerprint(), {}, "")
    return task(_unheard, *arguments)


def _load(pulse: Pulse) -> None:
    """Task: load what all others need, which takes a second or two."""
    for name in ("objectives.scoring", "sweep.search"):
        importlib.import_module(name)


def _told() -> dict[str, str]:
    """What a machine says of itself."""
    return fingerprint()


def _unheard(scored: int) -> None:
    """The pulse of a task in a worker: the sweep ends it from outside."""


@contextlib.contextmanager
def _this_machine(workers: int, pulse: Pulse) -> Iterator[Executor]:
    # a token of its own: nobody else on the machine can use these workers, and nothing is written into the home folder
    os.environ.setdefault("RAY_AUTH_MODE", "token")
    os.environ.setdefault("RAY_AUTH_TOKEN", secrets.token_hex(32))
    os.environ.setdefault("RAY_worker_niceness", "0")
    os.environ.update(ONE_THREAD)
    temporary = tempfile.gettempdir()
    folder = tempfile.mkdtemp(prefix="wheelfront-", dir=temporary if len(temporary) <= LONGEST_FOLDER else "/tmp")
    try:
        options = {
            "num_cpus": workers,
            "num_gpus": 0,
            "include_dashboard": False,
            "object_store_memory": STORE_BYTES,
            "_temp_dir": folder,
        }
        with _started(options, START_SECONDS, pulse) as failure:
            if failure is not None:
                raise SweepFailure(
                    f"Ray could not be started on this machine: {failure}", go_on="sweep without --workers"
                ) from failure
            yield OnRay(workers, pulse)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextlib.contextmanager
def _cluster(address: str, pulse: Pulse) -> Iterator[Executor]:
    check_address(address)
    remedy = "give the address of the cluster's head, on a machine that has joined it with ray start"
    if address != "auto":
        host, _, port = address.rpartition(":")
        try:
            socket.create_connection((host.strip("[]"), int(port)), timeout=REACH_SECONDS).close()
        except OSError as error:
            raise BadInput([Fault("--ray", f"must be reachable: {error}", address, "", remedy)]) from error
    options = {"address": address, "runtime_env": {"env_vars": ONE_THREAD}}
    with _started(options, JOIN_SECONDS, pulse) as failure:
        if failure is not None:
            said = " ".join(str(failure).split())[:300]
            raise BadInput([Fault("--ray", f"must be a cluster of Ray's: {said}", address, "", remedy)]) from failure
        yield OnRay(_checked_machines(address), pulse)


def check_address(address: str) -> None:
    """Raises BadInput unless an address is ``HOST:PORT`` or ``auto``."""
    host, _, port = address.rpartition(":")
    if address != "auto" and not (host and port.isdigit() and int(port) < 2**16 and "/" not in host):
        raise BadInput([Fault("--ray", "must be HOST:PORT of the cluster's head, or auto", repr(address))])


@contextlib.contextmanager
def _started(options: Mapping[str, Any], limit: float, pulse: Pulse) -> Iterator[BaseException | None]:
    """Ray for as long as the context lasts; what went wrong, where it did.

    Ray runs off a thread of its own. So the sweep can end while Ray still starts, and Ray leaves the signals alone. The
    thread lives as long as Ray does, since Linux ends a child with the thread that started it.
    """
    os.environ["RAY_ENABLE_UV_RUN_RUNTIME_ENV"] = "0"  # or under "uv run" the folder would be shipped to every worker
    os.environ["RAY_USAGE_STATS_ENABLED"] = "0"
    os.environ["RAY_DEDUP_LOGS_SKIP_REGEX"] = "."  # what Ray tells of dead workers would land on stdout
    up, ended = threading.Event(), threading.Event()
    failures: list[BaseException] = []

    def live() -> None:
        try:
            import ray

            logging.getLogger("ray").setLevel(logging.CRITICAL)
            ray.init(**options, log_to_driver=False, logging_level=logging.CRITICAL)
        except BaseException as error:
            failures.append(error)
        up.set()
        ended.wait()
        with contextlib.suppress(Exception):
            ray.shutdown()

    thread = threading.Thread(target=live, name="ray", daemon=True)
    thread.start()
    try:
        began = time.monotonic()
        while not up.wait(LOOK_SECONDS) and time.monotonic() - began < limit:
            pulse(0)
        _take_back_signals()
        yield TimeoutError(f"no answer within {limit:.0f} s") if not up.is_set() else next(iter(failures), None)
    finally:
        ended.set()
        if up.is_set():  # else it ends with this process
            thread.join(CLOSE_SECONDS)


def _take_back_signals() -> None:
    """Ray's library puts a handler before Python's that aborts the process some seconds after a SIGTERM."""
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, signal.getsignal(signal.SIGTERM))


def _checked_machines(address: str) -> int:
    """How many workers a cluster has. Raises BadInput unless each of its machines has what this one has."""
    import ray
    from ray.util.scheduling_strategies import NodeAffinitySchedulingStrategy

    machines = [node for node in ray.nodes() if node["Alive"] and node["Resources"].get("CPU")]
    if not machines:
        raise BadInput([Fault("--ray", "must have a machine with a processor for tasks", address, "", "add one: ray start")])
    ask = ray.remote(num_cpus=0, max_retries=RETRIES)(_told)
    asked = [
        ask.options(scheduling_strategy=NodeAffinitySchedulingStrategy(node["NodeID"], soft=False)).remote()
        for node in machines
    ]
    faults = []
    for node, answer in zip(machines, asked, strict=True):
        name = f"{node['NodeManagerHostname']} ({node['NodeManagerAddress']})"
        try:
            found = ray.get(answer, timeout=ASK_SECONDS)
        except ray.exceptions.RayError as error:
            missing = "has no wheelfront" if "No module named" in str(error) else str(error).splitlines()[0][:200]
            faults.append(Fault(f"machine {name}", "must have the same wheelfront as this one", missing, address, INSTALL))
            continue
        if found != fingerprint():
            faults += _mismatch(name, found, fingerprint(), address).faults
    if faults:
        raise BadInput(faults)
    return int(sum(node["Resources"]["CPU"] for node in machines))


INSTALL = "install it there from the same sources and constraints.txt"


def _mismatch(machine: str, there: Mapping[str, str], here: Mapping[str, str], address: str) -> BadInput:
    differ = [name for name in there if there[name] != here.get(name)] if here else list(there)
    got = ", ".join(f"{name} {there[name]}" + (f" (here {here.get(name)})" if here else "") for name in differ)
    return BadInput([Fault(f"machine {machine}", "must have the same wheelfront as this one", got, address, INSTALL)])


@cache
def fingerprint() -> dict[str, str]:
    """What results depend on: versions, and the package's own sources."""
    sources = hashlib.sha256()
    for folder in ("objectives", "sweep"):
        package = Path(__file__).parent.parent / folder
        for path in sorted([*package.glob("*.py"), *package.glob("catalogue/*.toml")]):
            sources.update(path.name.encode() + b"\0" + path.read_bytes())
    return {"python": platform.python_version(), **versions(), "sources": sources.hexdigest()[:12]}


def digest(facts: Mapping[str, str]) -> str:
    return hashlib.sha256(repr(sorted(facts.items())).encode()).hexdigest()
