"""A season run on other machines: the same Executor code, on the workers of a running scheduler."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from importlib import import_module
from urllib.parse import urlsplit

from ingest.errors import MissingExtra, SeasonError

CONNECT_S = 10.0  # our choice: a scheduler that is there answers in well under a second


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
        # Not pure: a match is reviewed again where its kept row is gone, though the arguments are the same.
        yield client.get_executor(pure=False)
    finally:
        client.close()


def _knock(address: str) -> None:
    """Whether anything listens there: the client would try for seconds. Raises OSError, ValueError."""
    parts = urlsplit(address if "//" in address else f"tcp://{address}")
    if parts.scheme in ("tcp", "tls"):
        if not parts.hostname or parts.port is None:
            raise ValueError("an address has a host and a port")
        socket.create_connection((parts.hostname, parts.port), timeout=CONNECT_S).close()
