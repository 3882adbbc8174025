"""Does the build, the pack and the log belong together: a 4-cell pack named for a 6-cell log, swapped channels."""

from __future__ import annotations

import numpy as np

from analysis.findings import Finding, NotChecked
from analysis.match_data import MatchData

Rows = list[Finding | NotChecked]


def fit_rows(data: MatchData) -> Rows:
    """What does not fit, as not_checked rows with the mend (the figures that rest on it are then doubtful)."""
    rows: Rows = []
    pack, build = data.pack, data.build
    if pack is not None and build is not None and len(data.packs) == 1 and pack.cells != build.cells:
        rows.append(
            NotChecked(
                "fits_build",
                "pack",
                f"pack {pack.id} has {pack.cells} cells; build {build.id} is wired for {build.cells}",
                "name the pack that was fitted, or correct cells in the build",
            )
        )
    volts = data.get("pack_voltage_V")
    if volts is not None and pack is not None and len(volts.good()):
        good = volts.good()
        rest = float(np.percentile(good.x, 98))
        full = pack.full_cell_V
        if full is not None:
            likely = round(rest / (0.5 * (full + 3.5)))
            if not 3.0 <= rest / pack.cells <= full + 0.15:
                rows.append(
                    NotChecked(
                        "fits_build",
                        "pack",
                        f"the log shows up to {rest:.1f} V: {rest / pack.cells:.2f} V a cell for {pack.cells} cells; "
                        f"about {likely} cells would fit",
                        "name the pack that was fitted, or correct its cells",
                    )
                )
    rows += _channels_that_fit_no_part(data)
    for index, placed in enumerate(data.placed):
        if not placed.placed:
            names = ", ".join(n for n, i in data.source.items() if i == index)
            rows.append(
                NotChecked(
                    "clock",
                    placed.log.name,
                    f"its clock could not be brought onto the match clock: {placed.how} ({names})",
                    "log the supply voltage in every logger, or state clock_offset_s in the match file",
                )
            )
    return rows


def _channels_that_fit_no_part(data: MatchData) -> Rows:
    if data.build is None:
        return []
    known = set(data.build.part_kinds()) | {"pack", "receiver", "link", "chassis"}
    if len(data.build.packs) > 1:
        known |= {pack.id for pack in data.packs}
    known |= {wire.to for wire in data.build.wires} | {wire.from_ for wire in data.build.wires}
    strange: dict[str, list[str]] = {}
    from ingest.channels import parse_channel

    for name in data.signals:
        channel = parse_channel(name)
        if channel is None or channel.part in known or channel.part.startswith("cell"):
            continue
        if any(channel.part == f"{p}_cell{n}" for p in known for n in range(1, 61)):
            continue
        strange.setdefault(channel.part, []).append(name)
    return [
        NotChecked(
            "fits_build",
            part,
            f"the log names {part}, which build {data.build.id} does not have",
            "correct the part in the reading file, or add it to the build",
        )
        for part in strange
    ]
