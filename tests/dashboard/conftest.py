"""What the tests of `record` share: a port, and that no recorder outlives its test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.dashboard.recording_process import STARTED, Port


@pytest.fixture(autouse=True)
def _nothing_goes_on_recording() -> Iterator[None]:
    """A recorder that a failed test leaves would wait for its port, and take that of the next test for it."""
    yield
    while STARTED:
        STARTED.pop().kill()  # nothing where it is over, as it should be


@pytest.fixture
def port(tmp_path: Path) -> Iterator[Port]:
    pytest.importorskip("serial", reason="the serial extra is not installed")
    made = Port(tmp_path / "port")
    yield made
    made.pull()
