"""Leases in a store with a clock of its own: who gets in, who is taken for dead, who notices."""

from __future__ import annotations

import datetime
import json
import threading
from collections.abc import Callable, Iterator, Mapping

import pytest

from sweep import locks
from sweep.errors import BadInput, SweepFailure
from sweep.locks import LEASE, MARGIN, Lease

BEGAN = datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC)


class Store:
    """Blobs in memory. ``before`` is called before each step with its name."""

    def __init__(self) -> None:
        self.blobs: dict[str, tuple[bytes, datetime.datetime]] = {}
        self.now = 0.0
        self.failing = False
        self.before: Callable[[str], None] = lambda _: None

    def _step(self, name: str) -> None:
        self.before(name)
        if self.failing:
            raise SweepFailure("the network is down")

    def put(self, name: str, content: bytes) -> None:
        self._step("put")
        self.blobs[name] = (content, BEGAN + datetime.timedelta(seconds=self.now))

    def read(self, name: str) -> bytes:
        if name not in self.blobs:
            raise FileNotFoundError
        return self.blobs[name][0]

    def remove(self, name: str) -> None:
        self.blobs.pop(name, None)

    def written(self, under: str) -> Mapping[str, datetime.datetime]:
        self._step("list")
        return {name: when for name, (_, when) in self.blobs.items() if name.startswith(f"{under}/")}


@pytest.fixture
def store(monkeypatch: pytest.MonkeyPatch) -> Store:
    """A store whose clock is this machine's too; nothing is renewed but by ``check``."""
    made = Store()
    monkeypatch.setattr(locks, "_now", lambda: made.now)
    monkeypatch.setattr(locks, "BEAT", 1e6)
    monkeypatch.setattr(locks, "PAUSE", 0.0)
    return made


def claim(store: Store, age: float, name: str = "lock/other", **facts: object) -> None:
    """The claim of a process on another machine."""
    content = json.dumps({"pid": 7, "host": "elsewhere", "system": "another boot", **facts}).encode()
    store.blobs[name] = (content, BEGAN + datetime.timedelta(seconds=store.now - age))


def test_a_claim_that_is_alive_keeps_others_out(store: Store) -> None:
    claim(store, LEASE - 1)
    with pytest.raises(BadInput, match=r"got a lock of process 7 on elsewhere \(lock/\); wait for it, 120 s"), Lease(
        store, "s3://b"
    ).held():
        pytest.fail("two hold the lock")
    assert list(store.blobs) == ["lock/other"]


@pytest.mark.parametrize("content", [b"", b"[1]", b'{"pid": 7, "host": "elsewhere", "system": "another boot"}'])
def test_a_claim_older_than_the_lease_is_taken_over(store: Store, content: bytes) -> None:
    claim(store, LEASE + 2)
    store.blobs["lock/other"] = (content, store.blobs["lock/other"][1])
    with Lease(store, "s3://b").held():
        assert "lock/other" not in store.blobs
        assert len(store.blobs) == 1
    assert store.blobs == {}


def interleavings(first: int, second: int) -> Iterator[str]:
    if not first or not second:
        yield "a" * first + "b" * second
        return
    yield from ("a" + rest for rest in interleavings(first - 1, second))
    yield from ("b" + rest for rest in interleavings(first, second - 1))


@pytest.mark.parametrize("order", list(interleavings(2, 2)))
def test_of_two_that_come_at_once_never_both_get_in(store: Store, monkeypatch: pytest.MonkeyPatch, order: str) -> None:
    """All orders of their steps: each puts its claim, then lists."""
    monkeypatch.setattr(locks, "TRIES", 1)
    turn, place, inside = threading.Condition(), iter(order), []
    current = [next(place)]

    def before(_: str) -> None:
        with turn:
            assert turn.wait_for(lambda: current[0] == threading.current_thread().name, timeout=10)

    def contend() -> None:
        lease = Lease(Turned(), "s3://b")
        try:
            lease._take()
        except BadInput:
            return
        inside.append(threading.current_thread().name)

    class Turned(Store):
        """The same store, of which every put and every list ends a turn."""

        def put(self, name: str, content: bytes) -> None:
            before("put")
            store.put(name, content)
            pass_on()

        def written(self, under: str) -> Mapping[str, datetime.datetime]:
            before("list")
            found = store.written(under)
            pass_on()
            return found

        def read(self, name: str) -> bytes:
            return store.read(name)

        def remove(self, name: str) -> None:
            store.remove(name)

    def pass_on() -> None:
        with turn:
            current[0] = next(place, "")
            turn.notify_all()

    both = [threading.Thread(target=contend, name=name) for name in "ab"]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join(timeout=20)
    assert len(inside) <= 1
    if order in ("aabb", "bbaa"):
        assert inside == [order[0]]


def test_a_holder_that_cannot_renew_stops_before_its_lease_ends(store: Store) -> None:
    lease = Lease(store, "s3://b")
    with lease.held():
        store.failing = True
        store.now = LEASE - MARGIN - 1
        lease.check()
        store.now = LEASE - MARGIN
        with pytest.raises(SweepFailure, match=r"lock of s3://b was lost: it could not be renewed in time\n"):
            lease.check()
        store.failing, store.now = False, 10 * LEASE
        lease.check()  # nobody came in between: it got in anew


def test_a_holder_that_slept_gives_way_to_who_came_meanwhile(store: Store) -> None:
    lease = Lease(store, "s3://b")
    with lease.held():
        store.now = 3 * LEASE
        claim(store, 5.0)
        for _ in range(2):  # and it stays so
            with pytest.raises(SweepFailure, match=r"and process 7 on elsewhere has begun there"):
                lease.check()
        assert list(store.blobs) == ["lock/other"]


def test_a_renewed_claim_stays_and_newcomers_do_not_end_it(store: Store) -> None:
    lease = Lease(store, "s3://b")
    with lease.held():
        for _ in range(10):
            store.now += LEASE / 4
            claim(store, 0.0)  # somebody who is about to withdraw
            lease._renew()
            lease.check()
        store.remove("lock/other")
        (written,) = store.written("lock").values()
        assert written == BEGAN + datetime.timedelta(seconds=10 * LEASE / 4)


def test_a_claim_that_was_deleted_by_hand_is_made_anew_unless_another_came(store: Store) -> None:
    lease = Lease(store, "s3://b")
    with lease.held():
        store.blobs.clear()
        lease._renew()
        lease.check()
        assert len(store.blobs) == 1
        store.blobs.clear()
        claim(store, 0.0)
        lease._renew()
        with pytest.raises(SweepFailure, match="has begun there"):
            lease.check()


def test_signs_of_life_come_by_themselves(monkeypatch: pytest.MonkeyPatch) -> None:
    store, beaten = Store(), threading.Event()
    monkeypatch.setattr(locks, "BEAT", 0.01)
    counted = iter(range(3))
    store.before = lambda step: beaten.set() if step == "put" and next(counted, None) is None else None
    with Lease(store, "s3://b").held():
        assert beaten.wait(10)
    assert store.blobs == {}
