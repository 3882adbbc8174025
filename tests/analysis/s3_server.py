"""An S3-compatible server on loopback (moto), and a season folder put onto it by pyarrow alone."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pyarrow.fs as pafs

from tests.ports import unused_port

KEYS = {"AWS_ACCESS_KEY_ID": "test", "AWS_SECRET_ACCESS_KEY": "test", "AWS_REGION": "us-east-1"}


def wait_for(port: int, what: str) -> None:
    deadline = time.monotonic() + 120
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            assert time.monotonic() < deadline, f"{what} did not come up"
            time.sleep(0.1)


@contextmanager
def s3_server() -> Iterator[str]:
    """host:port of a server that is there for the block."""
    port = unused_port()
    server = subprocess.Popen(
        [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        wait_for(port, "the S3 server")
        yield f"127.0.0.1:{port}"
    finally:
        server.kill()
        server.wait()


def file_system(endpoint: str) -> pafs.S3FileSystem:
    return pafs.S3FileSystem(
        endpoint_override=endpoint, scheme="http", access_key=KEYS["AWS_ACCESS_KEY_ID"],
        secret_key=KEYS["AWS_SECRET_ACCESS_KEY"], region=KEYS["AWS_REGION"], allow_bucket_creation=True,
    )  # fmt: skip


def put_folder(folder: Path, fs: pafs.FileSystem, key: str) -> None:
    """Every file but results/ and the locks, as a person would copy a season there."""
    fs.create_dir(key.split("/")[0])
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and not name.startswith(("results/", ".")):
            with fs.open_output_stream(f"{key}/{name}", compression=None) as out:
                out.write(path.read_bytes())


def environment(endpoint: str) -> dict[str, str]:
    return {**os.environ, **KEYS, "AWS_ENDPOINT_URL": f"http://{endpoint}"}
