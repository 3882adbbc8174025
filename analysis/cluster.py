"""A season run on other machines: the same Executor code, on the workers of a running scheduler."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from importlib import import_module
from typing import Any
from urllib.parse import urlsplit

from ingest.errors import MissingExtra, SeasonError

CONNECT_S = 10.0  # our choice: a scheduler that is there answers in well under a second


class ClusterExecutor(Executor):
    """What a client of the scheduler gives, and how many workers there are: without any, a match waits for ever."""

    def __init__(self, client: Any) -> None:
        self._client = client
        # Not pure: a match is reviewed again where its kept row is gone, though the arguments are the same.
        self._executor = client.get_executor(pure=False)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        return self._executor.submit(fn, *args, **kwargs)

    def workers(self) -> int:
        """How many workers the scheduler has; 0 where it no longer answers."""
        if self._client.status != "running":
            return 0
        try:
            return len(self._client.sync(self._client.scheduler.ncores, workers=None, callback_timeout=CONNECT_S))
        except (OSError, TimeoutError, RuntimeError):
            return 0


@contextmanager
def cluster_executor(address: str) -> Iterator[Executor]:
    """An Executor on the scheduler at `address` (tcp://host:port). Every worker must see the season under the same
    address and have this version installed.

    Raises MissingExtra without the cluster extra, SeasonError where no scheduler answers.
    """
    try:
        client_of = import_module("distributed").Client
    except ImportError:
        raise MissingExtra("cluster", "--cluster") from None
    try:
        _knock(address)
        client = client_of(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise SeasonError(
            "no scheduler answers", found=address, expected="tcp://host:port of one that runs",
            mend=f"Start one, or leave --cluster out. ({error})",
        ) from None  # fmt: skip
    try:
        yield ClusterExecutor(client)
    finally:
        client.close()


def _knock(address: str) -> None:
    """Whether anything listens there: the client would try for seconds. Raises OSError, ValueError."""
    parts = urlsplit(address if "//" in address else f"tcp://{address}")
    if parts.scheme in ("tcp", "tls"):
        if not parts.hostname or parts.port is None:
            raise ValueError("an address has a host and a port")
        socket.create_connection((parts.hostname, parts.port), timeout=CONNECT_S).close()
