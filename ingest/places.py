"""Season folders that are no folder of this machine: s3://bucket/folder and other addresses, opened like paths.

A RemotePath (ingest/remote_path.py) answers to the calls of pathlib, so that the rest of the house knows of no
difference. Access is pyarrow's own where it knows the scheme, else fsspec's.

Keys come from the standard environment variables (AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY, AWS_REGION …); another
endpoint from AWS_ENDPOINT_URL or from the address: s3://bucket/folder?endpoint_override=127.0.0.1:9000&scheme=http.
"""

from __future__ import annotations

import os
import re
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from typing import Any, TypeGuard, cast
from urllib.parse import parse_qsl, urlencode, urlsplit

import pyarrow as pa
import pyarrow.fs as pafs

from ingest.errors import UsageError
from ingest.remote_path import Remote, RemotePath, first_line

_ADDRESS = re.compile(r"[a-z][a-z0-9+.-]+://", re.IGNORECASE)  # two letters and more: c:// is a drive


def is_remote(path: object) -> TypeGuard[RemotePath]:
    return isinstance(path, RemotePath)


def is_address(text: object) -> bool:
    """Whether this is an address (s3://…) and not a path of this machine."""
    return isinstance(text, str) and _ADDRESS.match(text) is not None


def place(path: str | Path | RemotePath) -> Path:
    """A path, of this machine or at an address; both answer to the same calls. Raises UsageError.

    It is typed as a Path: what a RemotePath lacks of one is only what writes.
    """
    if isinstance(path, RemotePath):
        return cast(Path, path)
    if not is_address(path):
        return Path(path)
    text = str(path)
    parts = urlsplit(text)
    if parts.scheme.lower() == "file":
        from urllib.request import url2pathname

        return Path(url2pathname(parts.path))
    if parts.username or parts.password:
        raise UsageError(
            "an address must hold no keys: others would see them", found=f"{parts.scheme}://…@{parts.hostname}",
            mend="Put them into AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY.",
        )  # fmt: skip
    key = f"{parts.netloc}{parts.path}".strip("/")
    endpoint = tuple(os.environ.get(name, "") for name in ("AWS_ENDPOINT_URL_S3", "AWS_ENDPOINT_URL"))
    return cast(Path, RemotePath(_opened(parts.scheme.lower(), key.split("/")[0], parts.query, endpoint), key))


def address_of(path: Path) -> str:
    """What opens this path again, here or on another machine."""
    return path.address if is_remote(path) else str(path)


def parquet_source(path: Path) -> Any:
    """What pyarrow.parquet reads from: the path itself, or the opened file at an address. Raises OSError."""
    return path.open() if is_remote(path) else path


def _opened(scheme: str, first: str, query: str, endpoint: tuple[str, ...]) -> Remote:
    """A new view of a file system that is opened once: listings are not shared between two openings."""
    return Remote(_file_system(scheme, first, query, endpoint), f"{scheme}://", query)


@lru_cache(maxsize=8)
def _file_system(scheme: str, first: str, query: str, endpoint: tuple[str, ...]) -> pafs.FileSystem:
    shown = f"{scheme}://{first}"
    options = dict(parse_qsl(query))
    url = next((text for text in endpoint if text), "")
    if scheme == "s3" and url and "endpoint_override" not in options:
        asked = urlsplit(url if "//" in url else f"http://{url}")
        options |= {"endpoint_override": asked.netloc, "scheme": asked.scheme}
    asked_for = f"{shown}?{urlencode(options)}" if options else shown
    try:
        return pafs.FileSystem.from_uri(asked_for)[0]
    except (pa.ArrowException, OSError, ValueError) as error:
        reason = first_line(error)
    if "nrecognized" not in reason and "not built" not in reason.lower():
        raise UsageError(f"cannot be opened: {reason}", found=shown, mend="Check the address and its query.")
    try:
        opened = import_module("fsspec").filesystem(scheme, **options)
        return pafs.PyFileSystem(pafs.FSSpecHandler(opened))
    except ImportError:
        mend = f"Use s3://, or install what reads {scheme}:// through fsspec."
    except (ValueError, TypeError, OSError) as error:
        mend = f"Use s3://, or another scheme that fsspec knows. ({first_line(error)})"
    raise UsageError("an address of this kind cannot be read here", found=shown, mend=mend)
