"""A run kept in an object store, through the file systems of pyarrow."""

from __future__ import annotations

import contextlib
import copy
import datetime
import re
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import unquote

import pyarrow as pa

from sweep.errors import BadInput, Fault, SweepFailure
from sweep.location import Location, hidden_name, is_hidden
from sweep.locks import Lease

if TYPE_CHECKING:
    from pyarrow.fs import FileInfo, FileSystem

SCHEMES = ("s3", "gs", "gcs")
#: s for which Google Cloud Storage is asked again; its own default is a quarter of an hour
PATIENCE = 30
#: parts of messages that mean: not with these credentials
DENIED = re.compile(r"ACCESS_DENIED|INVALID_ACCESS_KEY|SIGNATURE|EXPIRED_TOKEN|UNRECOGNIZED_CLIENT|MISSING_AUTH|"
                    r"PERMISSION_DENIED|UNAUTHENTICATED|OAuth2")
LONGEST_REASON = 300


@dataclass(frozen=True)
class Shown:
    """A URI as it may be shown: without user, password and options of unknown meaning."""

    place: str  # without options
    options: str
    secrets: tuple[str, ...]

    @staticmethod
    def of(uri: str) -> Shown:
        """Shows a URI.

        >>> print(Shown.of("s3://key:sec%2Fret@bucket/run?region=eu-west-1"))
        s3://bucket/run?region=eu-west-1
        """
        scheme, _, rest = uri.partition("://")
        rest, _, options = rest.partition("?")
        authority, slash, path = rest.partition("/")
        if ":" in authority and "@" not in authority and "@" in uri:  # a key with / or ? in it, which should have been %..
            authority, slash, path = uri.rpartition("@")[2].partition("/")
            authority, options = f"{uri[len(scheme) + 3 : uri.rindex('@')]}@{authority}", ""
        user, _, host = authority.rpartition("@")
        pieces = {piece for part in (user, *user.split(":")) if part for piece in (part, unquote(part))}
        place, secrets = f"{scheme}://{(host + slash + path).rstrip('/')}", sorted(pieces, key=len, reverse=True)
        return Shown(place, re.sub(r"[^=&/]*@", "", options), tuple(secrets))

    def __str__(self) -> str:
        return f"{self.place}?{self.options}" if self.options else self.place

    def reason(self, error: Exception) -> str:
        """What a library says about a fault, without secrets and in a line."""
        text = " ".join(str(error).split())
        for secret in self.secrets:
            text = text.replace(secret, "***")
        text = re.sub(r" *\(Request ID:[^)]*\)", "", text)
        return text if len(text) <= LONGEST_REASON else text[:LONGEST_REASON] + "..."

    def unusable(self, error: Exception, quantity: str) -> BadInput | SweepFailure:
        """Why a store cannot be used, found before anything was written."""
        reason = self.reason(error)
        if DENIED.search(str(error)):
            rule = "must be where your credentials may list, read, write and delete"
            remedy = "set them in the environment, as the README says"
            return BadInput([Fault(quantity, rule, reason, str(self), remedy)])
        go_on = "check the network and the endpoint, then repeat the command"
        return SweepFailure(f"{self} could not be reached: {reason}", go_on=go_on)


class ObjectStore(Location):
    """A bucket, or what in a bucket begins with a path.

    A stream to an object that is given up in an exception is completed all the same, by ``with`` and by the collector of
    garbage, with what it held by then. So a blob goes to a hidden name first; once all of it is there, the store copies it
    over its place in one step.
    """

    def __init__(self, filesystem: FileSystem, path: str, shown: Shown) -> None:
        self._filesystem, self._path, self._shown = filesystem, path, shown
        self._lease: Lease | None = None

    @staticmethod
    def at_uri(uri: str, quantity: str) -> ObjectStore:
        """The store that a URI names, asked once whether it is there. Raises BadInput, SweepFailure."""
        from pyarrow.fs import FileSystem, FileType, S3FileSystem

        uri = re.sub(r"^([^:/]+):/(?!/)", r"\1://", uri)  # a Path has folded the second slash
        shown = Shown.of(uri)
        scheme = uri.partition(":")[0].lower()
        if scheme not in SCHEMES:
            raise BadInput([Fault(quantity, "must be a folder or begin with s3://, gs:// or file://", shown.place)])
        if scheme != "s3" and "retry_limit_seconds=" not in uri:
            uri += f"{'&' if '?' in uri else '?'}retry_limit_seconds={PATIENCE}"
        try:
            filesystem, path = FileSystem.from_uri(uri)
        except (pa.ArrowInvalid, pa.ArrowNotImplementedError) as error:
            reason = shown.reason(Exception(str(error).replace(uri, shown.place)))  # options too may be anything
            remedy = f"{reason}; the README says where runs can be kept"
            raise BadInput([Fault(quantity, "must be a URI that names a bucket", shown.place, "", remedy)]) from None
        except OSError as error:
            raise shown.unusable(error, quantity) from None
        parts = [part for part in path.split("/") if part]
        if not parts or {".", ".."} & set(parts):
            raise BadInput([Fault(quantity, "must name a bucket, and no . or .. below it", str(shown))])
        if isinstance(filesystem, S3FileSystem):
            filesystem = copy.copy(filesystem)  # made anew it asks three times; as made of a URI ten times, over minutes
        try:
            found = filesystem.get_file_info(parts[0])
        except OSError as error:
            raise shown.unusable(error, quantity) from None
        if found.type == FileType.NotFound:
            raise BadInput([Fault(quantity, "must name a bucket that exists", repr(parts[0]), str(shown), "make it first")])
        return ObjectStore(filesystem, "/".join(parts), shown)

    def __str__(self) -> str:
        return str(self._shown)

    def place_of(self, name: str) -> str:
        return f"{self._shown.place}/{name}"

    def exists(self, name: str) -> bool:
        with self._reading(name):
            return bool(self._filesystem.get_file_info(f"{self._path}/{name}").is_file)

    def names(self, under: str = "") -> list[str]:
        return sorted(name for name in self._all(under) if not is_hidden(name))

    def read(self, name: str) -> bytes:
        with self._reading(name), self._filesystem.open_input_stream(f"{self._path}/{name}", compression=None) as stream:
            return bytes(stream.read())

    def write(self, name: str, content: bytes) -> None:
        folder, slash, last = name.rpartition("/")
        hidden = folder + slash + hidden_name(last, uuid.uuid4().hex)
        with self._failing_as(name):
            try:
                self.put(hidden, content)
                if self._filesystem.get_file_info(f"{self._path}/{hidden}").size != len(content):
                    raise OSError("the store did not keep all of it")
                if self._lease:
                    self._lease.check()
                self._filesystem.copy_file(f"{self._path}/{hidden}", f"{self._path}/{name}")
            finally:
                with contextlib.suppress(OSError):
                    self._filesystem.delete_file(f"{self._path}/{hidden}")

    def append(self, name: str, line: bytes) -> None:
        """Written anew as a whole: stores cannot add to an object, and what is appended to is a line for each epoch."""
        self.write(name, (self.read(name) if self.exists(name) else b"") + line)

    def remove(self, name: str) -> None:
        with self._failing_as(name), contextlib.suppress(FileNotFoundError):
            self._filesystem.delete_file(f"{self._path}/{name}")

    def sweep_up(self) -> None:
        for name in self._all():
            if is_hidden(name):
                self.remove(name)

    @contextlib.contextmanager
    def locked(self) -> Iterator[None]:
        self._lease = Lease(self, str(self))
        try:
            with self._lease.held():
                yield
        finally:
            self._lease = None

    def put(self, name: str, content: bytes) -> None:
        """Write a blob under its own name. In part, should an exception come in between."""
        with self._failing_as(name), self._filesystem.open_output_stream(f"{self._path}/{name}", compression=None) as stream:
            stream.write(content)

    def written(self, under: str) -> Mapping[str, datetime.datetime]:
        """When each blob below a folder was written, by the store's clock."""
        return {name: info.mtime for name, info in self._all(under).items()}

    def _all(self, under: str = "") -> dict[str, FileInfo]:
        from pyarrow.fs import FileSelector

        top = f"{self._path}/{under}".rstrip("/")
        with self._reading(under):
            found = self._filesystem.get_file_info(FileSelector(top, recursive=True, allow_not_found=True))
        return {info.path.removeprefix(f"{self._path}/"): info for info in found if info.is_file}

    @contextlib.contextmanager
    def _reading(self, name: str) -> Iterator[None]:
        try:
            yield
        except FileNotFoundError:
            raise
        except OSError as error:
            reason, go_on = self._shown.reason(error), "check the network and your rights there, then repeat the command"
            raise SweepFailure(f"{self.place_of(name)} could not be read: {reason}", go_on=go_on) from None

    @contextlib.contextmanager
    def _failing_as(self, name: str) -> Iterator[None]:
        try:
            yield
        except FileNotFoundError:
            raise
        except OSError as error:
            raise SweepFailure(
                f"{self.place_of(name)} could not be written: {self._shown.reason(error)}",
                safe=f"what {self} held before is whole",
                go_on="check the network, your rights and the room there, then --resume",
            ) from None
