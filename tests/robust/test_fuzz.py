"""A short run of every fuzz target, and every input that once broke something (tests/robust/found/<target>/).

Only errors of the project's own may come out, in bounded time. The long runs are benchmarks/fuzz.py's.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings

from benchmarks.fuzz import OURS
from benchmarks.fuzz_targets import Target, targets
from benchmarks.fuzz_targets.strategies import mutated
from ingest.errors import AfterboutError

FOUND = Path(__file__).parent / "found"
TARGETS = targets()
SHORT = {"mdf": 12, "delimited": 60, "any_file": 60, "mavlink": 60, "can_blf": 60, "review": 15}
USUAL = 200


def kept() -> Iterator[tuple[str, Path]]:
    for folder in sorted(p for p in FOUND.iterdir() if p.is_dir()):
        for path in sorted(folder.iterdir()):
            yield folder.name, path


def try_one(target: Target, one: object, data: bytes) -> None:
    """Returns, or ends in an error of ours that says what and the mend."""
    assert callable(one)
    start = time.process_time()  # a busy machine is no finding
    try:
        with warnings.catch_warnings():  # a library's warning about our own code stands on the user's terminal
            warnings.filterwarnings("error", module=OURS)
            one(data)
    except AfterboutError as error:
        assert error.what
        assert str(error)
    assert time.process_time() - start < target.seconds


@pytest.mark.parametrize(("name", "path"), list(kept()), ids=lambda part: part if isinstance(part, str) else part.name)
def test_what_was_found_once_stays_mended(name: str, path: Path, tmp_path: Path) -> None:
    target = TARGETS[name]
    try_one(target, target.prepare(tmp_path), path.read_bytes())


@pytest.mark.parametrize("name", TARGETS)
def test_damaged_input_ends_in_an_error_of_ours(name: str, tmp_path: Path) -> None:
    target = TARGETS[name]
    one = target.prepare(tmp_path)
    seeds = target.seeds()
    one(seeds[0])  # a sound one is taken: what follows damages something that is really read
    count = 0

    @settings(
        max_examples=SHORT.get(name, USUAL), deadline=None, database=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @seed(20260509)
    @given(mutated(seeds, target.largest, target.mutate))
    def every(data: bytes) -> None:
        nonlocal count
        count += 1
        try_one(target, one, data)

    every()
    assert count >= SHORT.get(name, USUAL) // 2


def test_every_reader_has_a_target() -> None:
    from ingest.formats import formats

    wanted = {
        "delimited text": "delimited", "binary telemetry": "frames", "CAN trace": "can_text",
        "MAVLink telemetry": "mavlink", "DroneCAN trace": "dronecan", "ASAM MDF 4": "mdf", "recording": "recording",
    }  # fmt: skip
    assert {form.name for form in formats()} <= set(wanted)
    assert set(wanted.values()) <= set(TARGETS)
