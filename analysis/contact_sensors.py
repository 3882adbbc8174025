"""Contacts with a temperature sensor of their own: a reading goes before any model."""

from __future__ import annotations

from analysis.contacts import default_limit
from analysis.covered import judge_seen
from analysis.findings import Estimate, Occurrence
from analysis.match_data import MatchData
from analysis.outcome import Held, Row
from analysis.signal import Measured
from analysis.spans import spans

# A sensor taped to a part reads its surface: it may be off by this (our choice).
SENSOR_K = 1.0
# Two passes of the limit nearer than this are one (our choice: a contact cools in tens of seconds).
JOIN_S = 2.0


def sensed(data: MatchData) -> dict[str, list[Row]]:
    """contact_temperature by contact id, for every contact whose own temperature was logged."""
    assert data.build is not None
    found: dict[str, list[Row]] = {}
    name = data.build.source_name or "the build file"
    for contact in data.build.contacts:
        channel = f"{contact.id}_temp_degC"
        signal = data.inside(channel)
        if signal is None:
            continue
        at = int(signal.x.argmax())
        value, when = float(signal.x[at]), float(signal.t_s[at])
        spread = SENSOR_K + 2.0 * signal.noise
        figure = Measured(value, value - spread, value + spread, "hottest sample of its own sensor")
        default = default_limit()
        limit = contact.limit_degC if contact.limit_degC is not None else default.value
        source = f"{name} {contact.id}.limit_degC" if contact.limit_degC is not None else str(default.source)
        held = Held(
            "contact_temperature", contact.id, limit, data.air_degC[0], "degC", source, "thermal_buildup", "max",
            channel, contact.limit_degC is None and default.is_memory, cause="contact_heating",
        )  # fmt: skip
        over = spans(signal.x > limit, signal.t_s, join_s=JOIN_S)
        start = over[0][0] if over else when
        places = tuple(Occurrence(a, b, float(signal.between(a, b).x.max())) for a, b in over)
        row = judge_seen(data, held, signal, figure, (start, over[-1][1] if over else when), occurrences=places)
        estimate = Estimate("contact_peak_degC", contact.id, value, figure.low, figure.high, "degC", "own sensor")
        found[contact.id] = [estimate, row]
    return found
