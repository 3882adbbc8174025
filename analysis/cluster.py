"""A season run on other machines: the same Executor code, on the workers of a running scheduler."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from importlib import import_module

from ingest.errors import MissingExtra, UsageError

CONNECT_S = 10.0  # our choice: a scheduler that is there answers in well under a second


@contextmanager
def cluster_executor(address: str) -> Iterator[Executor]:
    """An Executor on the scheduler at `address` (tcp://host:port). Every worker must see the season folder under the
    same path and have this version installed.

    Raises MissingExtra without the cluster extra, UsageError where no scheduler answers.
    """
    try:
        client_of = import_module("distributed").Client
    except ImportError:
        raise MissingExtra("cluster", "--cluster") from None
    try:
        client = client_of(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise UsageError(
            "no scheduler answers", found=address, mend=f"Start one, or leave --cluster out. ({error})"
        ) from None
    try:
        # Not pure: a match is reviewed again where its kept row is gone, though the arguments are the same.
        yield client.get_executor(pure=False)
    finally:
        client.close()
