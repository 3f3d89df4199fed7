"""What is left of a sweep after kills: of its driver, of its workers, of a machine. A table, and whether all came out the same.

Run as ``python -m tests.bench.kill_statistics [driver kills] [worker kills]``, from the project's folder. A sweep that costs
little is killed with SIGKILL at random moments and resumed until it is done. After each kill every file of its folder is read
in full. In the end all files that follow from study and seed must be those of a sweep that nobody disturbed, byte for byte.
"""

from __future__ import annotations

import io
import json
import os
import random
import secrets
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from subprocess import PIPE

import pyarrow.parquet as pq

from sweep.archive import RunFolder, State, open_run

ROOT = Path(__file__).parent.parent.parent
#: a driver is killed so often before it may finish
KILLS_OF_A_RUN = 5
ISLANDS = 3


@dataclass
class Tally:
    what: str
    kills: int = 0
    runs: int = 0
    files: int = 0
    half: int = 0
    reported: int = 0
    lost: int = 0
    same: int = 0

    def __str__(self) -> str:
        return (
            f"{self.what:38}{self.kills:>6}{self.runs:>6}{self.files:>8}{self.half:>14}{self.reported:>10}{self.lost:>6}"
            f"{self.same:>5} of {self.runs}"
        )


HEAD = f"{'killed':38}{'kills':>6}{'runs':>6}{'files':>8}{'half-written':>14}{'reported':>10}{'lost':>6}{'same files':>11}"


def lasting(folder: RunFolder) -> dict[str, bytes]:
    """What follows from study and seed alone."""
    names = [name for name in folder.location.names() if name.endswith((".parquet", ".npz"))]
    return {name: folder.location.read(name) for name in names}


def examine(place: Path, tally: Tally) -> None:
    """Read every visible file in full; what progress.jsonl reports done must be there."""
    for path in sorted(place.rglob("*")):
        if not path.is_file() or path.name.startswith("."):
            continue
        tally.files += 1
        try:
            content = path.read_bytes()
            if path.suffix == ".parquet":
                pq.ParquetFile(io.BytesIO(content)).read()
            elif path.suffix in (".json", "") and content:
                json.loads(content)
            elif path.suffix == ".npz":
                State.unpack(content)
        except Exception as error:
            tally.half += 1
            print(f"half-written: {path}: {error}")
    if not (place / "run.json").exists():
        return
    folder = open_run(place)
    state, done = folder.state(), {line["epoch"] for line in folder.progress()}
    parts = set(folder.location.names("epochs"))
    tally.reported += len(done)
    for epoch in done:
        there = all(f"epochs/island={island:02d}/epoch={epoch:06d}.parquet" in parts for island in range(ISLANDS))
        tally.lost += not (there and state is not None and state.epoch > epoch)


def command(place: Path, *options: object) -> list[str]:
    return [sys.executable, "-m", "tests.toy_sweep", str(place), "--islands", str(ISLANDS), *map(str, options)]


@contextmanager
def started(place: Path, *options: object, **environment: str) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        command(place, *options), cwd=ROOT, text=True, env=os.environ | environment, stdout=PIPE, stderr=PIPE
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()


def finished(place: Path, *options: object, **environment: str) -> None:
    with started(place, *options, **environment) as process:
        out, err = process.communicate()
        if not out.startswith("done"):
            raise RuntimeError(f"{out} {err}")


def kill_drivers(folder: Path, tally: Tally, kills: int, whole: dict[str, bytes], *options: object) -> None:
    """Kills fall evenly over a random time since the folder was locked, in which a run gets some epochs further."""
    while tally.kills < kills:
        place = folder / f"{tally.what} {tally.runs}".replace(" ", "-")
        for _ in range(min(KILLS_OF_A_RUN, kills - tally.kills)):
            with started(place, "--delay", 0.05, *options) as process:
                while not (place / "lock").exists() and process.poll() is None:
                    time.sleep(0.01)
                time.sleep(random.uniform(0, 4) if "--workers" not in options else random.uniform(0, 25))
                if process.poll() is not None:
                    break
                os.kill(process.pid, signal.SIGKILL)
                process.wait()
            tally.kills += 1
            examine(place, tally)
        finished(place, *options)
        compare(place, tally, whole)


def kill_workers(folder: Path, tally: Tally, kills: int, whole: dict[str, bytes]) -> None:
    """One worker after the other, told by the files that workers leave with their numbers."""
    place, beside = folder / "workers", folder / "workers-scored-by"
    killed: set[str] = set()
    with started(place, "--workers", 2, "--delay", 0.3, "--beside", beside) as process:
        while process.poll() is None and len(killed) < kills:
            seen = {path.name for path in beside.glob("*")} - killed if beside.exists() else set()
            if seen and (place / "progress.jsonl").exists():
                killed.add(pid := sorted(seen)[0])
                os.kill(int(pid), signal.SIGKILL)
                examine(place, tally)
                time.sleep(random.uniform(1, 3))
            time.sleep(0.1)
        out, err = process.communicate()
    if not out.startswith("done"):
        raise RuntimeError(f"{out} {err}")
    tally.kills = len(killed)
    compare(place, tally, whole)


def remove_machine(folder: Path, tally: Tally, whole: dict[str, bytes]) -> Tally:
    """A cluster of a head and two machines on this one, of which one goes while the sweep is on.

    For a process of its own: Ray keeps the token that a process has used first.
    """
    os.environ |= {"RAY_AUTH_MODE": "token", "RAY_AUTH_TOKEN": secrets.token_hex(32)}
    os.environ |= {"RAY_USAGE_STATS_ENABLED": "0", "RAY_DEDUP_LOGS_SKIP_REGEX": ".", "PYTHONPATH": str(ROOT)}
    from ray.cluster_utils import Cluster

    store = {"object_store_memory": 100 * 2**20}
    cluster = Cluster(initialize_head=True, head_node_args={"num_cpus": 0, **store})
    machines = [cluster.add_node(num_cpus=1, **store) for _ in range(2)]
    place = folder / "machine"
    try:
        with started(place, "--ray", cluster.address, "--delay", 0.3) as process:
            while not (place / "progress.jsonl").exists() and process.poll() is None:
                time.sleep(0.1)
            time.sleep(2)
            cluster.remove_node(machines[1], allow_graceful=False)
            tally.kills += 1
            examine(place, tally)
            out, err = process.communicate()
        if not out.startswith("done"):
            raise RuntimeError(f"{out} {err}")
    finally:
        cluster.shutdown()
    compare(place, tally, whole)
    return tally


def compare(place: Path, tally: Tally, whole: dict[str, bytes]) -> None:
    tally.runs += 1
    examine(place, tally)
    tally.same += lasting(open_run(place)) == whole


def main(drivers: int, workers: int) -> None:
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        finished(folder / "whole")
        whole = lasting(open_run(folder / "whole"))
        tallies = []

        def tally(what: str) -> Tally:
            tallies.append(Tally(what))
            return tallies[-1]

        kill_drivers(folder, tally("driver, sweep in one process"), drivers, whole)
        kill_drivers(folder, tally("driver, two workers"), drivers // 2, whole, "--workers", 2)
        kill_workers(folder, tally("workers of two"), workers, whole)
        remove_machine(folder, tally("machine of two"), whole)
        for seed in ("0", "1", "4294967295"):
            hashed = tally(f"nothing, PYTHONHASHSEED {seed}")
            finished(folder / f"hash{seed}", PYTHONHASHSEED=seed)
            compare(folder / f"hash{seed}", hashed, whole)
        print(HEAD)
        for each in tallies:
            print(each)
        print(f"{time.monotonic() - began:.0f} s on {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:3])) if len(sys.argv) > 2 else main(20, 5)
