"""Least and greatest of every block of samples, so that a long log is drawn without touching all of it.

A level holds one pair a block of BLOCK samples: the places of the least and of the greatest sample. A window of many
blocks is drawn from the pairs, its ends and every short window from the samples themselves; a block never straddles
two columns, so that no spike can be hidden by one beside it. The pairs with their times, values and gaps are kept in
the season's results/pyramids/, sealed by their hash and named by what the review of the match rests on: a damaged,
missing or older file is made anew from the samples and never drawn from.
"""

from __future__ import annotations

import hashlib
import io
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from weakref import WeakKeyDictionary

import numpy as np
import numpy.typing as npt

from analysis.season_keys import app_version
from analysis.settings import DEFAULTS
from analysis.signal import Bools, Floats, Signal
from ingest.errors import StoreError
from ingest.store import Store

BLOCK = 256  # samples a pair (our choice: 10 million samples give 80,000 points, which thin in a millisecond)
WORTH = 1 << 17  # samples from which on a pyramid is kept on disk (our choice: fewer are thinned as quickly)
FORM = 1  # of the file; raised when its meaning changes
KEPT_FILES = 64  # in the folder (our choice: some 10 MB each for the longest logs)

LANES = 4096
PARTS = ("at", "t_s", "x", "gaps", "gap_t_s", "gap_x")

Places = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Pyramid:
    """Of the samples of a signal that hold a value: n of them, from first_s to last_s.

    digest tells them from any others. at (2 blocks,) int64 the places of the least and the greatest of each block, in
    order; t_s and x are theirs. gaps (m,) int64: the sample after which the line is broken; gap_t_s and gap_x (m, 2)
    the times and values at both its ends.
    """

    n: int
    digest: str
    first_s: float
    last_s: float
    at: Places
    t_s: Floats
    x: Floats
    gaps: Places
    gap_t_s: Floats
    gap_x: Floats

    @property
    def least(self) -> float:
        return float(self.x.min()) if len(self.x) else 0.0

    @property
    def greatest(self) -> float:
        return float(self.x.max()) if len(self.x) else 0.0

    def fits(self, signal: Signal) -> bool:
        """Whether it is of these very samples."""
        good = signal.good()
        return len(good) == self.n and digest_of(good) == self.digest


def digest_of(good: Signal) -> str:
    """Of every sample's time and value: each bit counts, at a tenth of what a cryptographic hash of them would take.

    The 64-bit patterns are summed in LANES lanes (no change of one sample can leave its sum), the sums are hashed.
    """
    found = hashlib.sha256()
    for values in (good.t_s, good.x):
        bits = np.ascontiguousarray(values).view(np.uint64)
        whole = len(bits) // LANES * LANES
        found.update(bits[:whole].reshape(-1, LANES).sum(axis=0, dtype=np.uint64).tobytes())
        found.update(bits[whole:].tobytes())
    return found.hexdigest()


def gap_after(signal: Signal, gap_intervals: float = DEFAULTS.gap_intervals) -> Bools:
    """(n - 1,) True where the line must not be drawn on to the next sample: a gap, a restart, missing values."""
    apart = np.diff(signal.t_s) > gap_intervals * max(signal.period_s, 1e-9)
    if signal.recording is not None:
        apart |= np.diff(signal.recording) != 0
    return np.asarray(apart, dtype=bool)


def build(good: Signal) -> Pyramid:
    """From the samples; good holds only those with a value."""
    n = len(good)
    blocks = -(-n // BLOCK)
    whole = n // BLOCK
    body = good.x[: whole * BLOCK].reshape(whole, BLOCK)
    start = np.arange(whole, dtype=np.int64) * BLOCK
    pairs = np.empty((blocks, 2), dtype=np.int64)
    pairs[:whole, 0] = body.argmin(axis=1) + start
    pairs[:whole, 1] = body.argmax(axis=1) + start
    if blocks > whole:
        rest = good.x[whole * BLOCK :]
        pairs[whole] = whole * BLOCK + int(rest.argmin()), whole * BLOCK + int(rest.argmax())
    pairs.sort(axis=1)
    at = pairs.ravel()
    gaps = np.flatnonzero(gap_after(good)) if n > 1 else np.empty(0, dtype=np.int64)
    ends = np.stack((gaps, gaps + 1), axis=1)
    first, last = (float(good.t_s[0]), float(good.t_s[-1])) if n else (0.0, 0.0)
    return Pyramid(n, digest_of(good), first, last, at, good.t_s[at], good.x[at], gaps, good.t_s[ends], good.x[ends])


_built: WeakKeyDictionary[Signal, Pyramid] = WeakKeyDictionary()
_building = threading.Lock()


def pyramid_of(signal: Signal) -> Pyramid:
    """Built once for a signal, or the one that was given to it."""
    with _building:
        if signal not in _built:
            _built[signal] = build(signal.good())
        return _built[signal]


def known(signal: Signal) -> bool:
    return signal in _built


def give(signal: Signal, pyramid: Pyramid) -> None:
    """A pyramid from disk in place of building one."""
    with _building:
        _built[signal] = pyramid


def file_of(results: Path, fingerprint: str) -> Path:
    """Where the pyramids of a match are kept: named by its content and by the code that reviews it."""
    name = hashlib.sha256(f"{FORM}\0{fingerprint}\0{app_version()}\0{BLOCK}".encode()).hexdigest()[:32]
    return results / "pyramids" / f"{name}.npz"


def write(path: Path, pyramids: Mapping[str, Pyramid]) -> None:
    """Sealed by its hash; whole or not at all. Older files of the folder are let go. Raises StoreError."""
    arrays: dict[str, np.ndarray] = {
        "names": np.array(list(pyramids), dtype=np.str_),
        "digests": np.array([p.digest for p in pyramids.values()], dtype=np.str_),
    }
    for i, pyramid in enumerate(pyramids.values()):
        arrays[f"{i}.head"] = np.array([pyramid.n, pyramid.first_s, pyramid.last_s], dtype=np.float64)
        for name in PARTS:
            arrays[f"{i}.{name}"] = getattr(pyramid, name)
    sink = io.BytesIO()
    np.savez(sink, allow_pickle=False, **arrays)
    body = sink.getvalue()
    store = Store()
    store.write_bytes(path, hashlib.sha256(body).digest() + body, durable=False)
    aged = sorted((p for p in path.parent.glob("*.npz") if p != path), key=lambda p: p.stat().st_mtime)
    for old in aged[: max(0, len(aged) + 1 - KEPT_FILES)]:
        store.remove(old)


def read(path: Path) -> dict[str, Pyramid]:
    """What was written; nothing where it is missing or its bytes are not those that were written."""
    try:
        raw = path.read_bytes()
    except OSError:
        return {}
    if len(raw) < 32 or hashlib.sha256(memoryview(raw)[32:]).digest() != raw[:32]:
        return {}
    with np.load(io.BytesIO(raw[32:]), allow_pickle=False) as arrays:
        out = {}
        for i, (name, digest) in enumerate(zip(arrays["names"].tolist(), arrays["digests"].tolist(), strict=True)):
            n, first, last = arrays[f"{i}.head"].tolist()
            parts = [arrays[f"{i}.{key}"] for key in PARTS]
            out[name] = Pyramid(int(n), digest, first, last, *parts)
        return out


def keep(results: Path, fingerprint: str, signals: Mapping[str, Signal]) -> None:
    """The pyramids of the long signals of a match: those on disk where they are of these samples, else made and kept.

    A disk that does not take them costs time, nothing else.
    """
    long = {name: signal for name, signal in signals.items() if len(signal) >= WORTH}
    if not long:
        return
    path = file_of(results, fingerprint)
    found = read(path)
    fitting = {name: found[name] for name, signal in long.items() if name in found and found[name].fits(signal)}
    for name, pyramid in fitting.items():
        give(long[name], pyramid)
    if len(fitting) < len(long):
        try:
            write(path, {name: pyramid_of(signal) for name, signal in long.items()})
        except StoreError:
            return
