"""The traces: labels, ratings with their source, gaps, what is sent on a zoom."""

from __future__ import annotations

import base64
import json
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.signal import signal
from dashboard.app import visible
from dashboard.figure_notes import spread
from dashboard.figure_view import View
from dashboard.figures import packed, trace_data, traces_figure, value_range
from dashboard.ink import LIGHT
from dashboard.traces import Trace, panels, run_panel
from tests.dashboard.made_up import build_b, calm_review, review_m06, unknown_review


def unpacked(data: dict[str, str]) -> np.ndarray:
    return np.frombuffer(base64.b64decode(data["bdata"]), dtype="<" + data["dtype"])


def test_panels_show_what_was_logged_and_what_was_estimated() -> None:
    made = {panel.title: panel for panel in panels(review_m06(), build_b())}
    assert list(made) == ["Current", "Voltage", "Temperature", "Speed", "Rail", "Radio"]
    assert [t.label for t in made["Voltage"].traces] == ["pack, lowest 21.6 V", "weapon, lowest 20.2 V"]
    assert [(r.label, r.source) for r in made["Voltage"].ratings] == [("weapon 18.0 V", "build b")]
    assert [(r.label, r.source) for r in made["Rail"].ratings] == [("receiver 4.00 V", "build b")]
    assert panels(unknown_review(), None) == []


def test_the_figure_is_plain_json_with_every_rating_drawn_and_named() -> None:
    review = review_m06()
    made = panels(review, build_b())
    for view in (View(), View(dark=True), View(narrow=True)):
        drawn = traces_figure(made, review, view)
        json.dumps(drawn, allow_nan=False)
        dashed = [s for s in drawn["layout"]["shapes"] if s["line"].get("dash")]
        assert len(dashed) == sum(len(p.ratings) for p in made)
    for view in (View(), View(narrow=True)):  # on a phone the name stands at the line's beginning
        told = [a["text"] for a in traces_figure(made, review, view)["layout"]["annotations"]]
        for panel in made:
            for rating in panel.ratings:
                assert any(text.startswith(rating.label) for text in told), (view, rating)


def test_a_gap_is_open_in_what_is_sent() -> None:
    radio = next(p for p in panels(review_m06(), build_b()) if p.title == "Radio")
    sent = trace_data(radio.traces[0], "y", LIGHT, None, None)[-1]
    t, y = unpacked(sent["x"]), unpacked(sent["y"])
    assert np.isnan(y[(t > 121.0) & (t < 122.6)]).all()
    assert np.isnan(y).sum() == 1


def test_a_chosen_finding_is_tinted_over_its_own_span() -> None:
    review = review_m06()
    chosen = review.findings[1]
    drawn = traces_figure(panels(review, build_b()), review, View(), (100.0, 190.0), chosen)
    tint = next(s for s in drawn["layout"]["shapes"] if s["type"] == "rect")
    assert (tint["x0"], tint["x1"]) == (chosen.start_s, chosen.end_s)
    assert drawn["layout"]["xaxis"]["range"] == [100.0, 190.0]


def test_a_zoom_on_ten_million_samples_sends_at_most_200_kB_for_eight_channels() -> None:
    t = np.arange(10_000_000) * 1e-4
    trace = Trace("pack", signal("pack_current_A", t, np.sin(t)), "blue")
    sent = json.dumps(trace_data(trace, "y", LIGHT, 100.0, 900.0)[-1])
    assert 8 * len(sent) <= 200_000


def test_a_run_opened_shows_its_wire_and_its_limit() -> None:
    panel = run_panel(review_m06(), "battery_lead")
    assert panel is not None
    assert panel.traces[0].label == "wire, up to 65 °C"
    assert {r.value for r in panel.ratings} == {105, 183}
    assert run_panel(calm_review(), "weapon_lead") is None


@given(st.lists(st.floats(min_value=0, max_value=300), max_size=8))
def test_labels_never_touch(wanted: list[float]) -> None:
    places = spread(sorted(wanted), 19)
    assert all(b - a >= 18 for a, b in pairwise(places))
    assert len(places) == len(wanted)


@given(st.lists(st.floats(width=32, allow_nan=False, allow_infinity=False), max_size=50))
def test_packed_arrays_come_back(values: list[float]) -> None:
    assert unpacked(packed(np.array(values, dtype=np.float64))).tolist() == values


@pytest.mark.parametrize(
    ("event", "window"),
    [
        ({"xaxis.range[0]": 10.0, "xaxis.range[1]": 20.0}, (10.0, 20.0)),
        ({"xaxis.range": [1, 2]}, (1.0, 2.0)),
        ({"xaxis.autorange": True}, None),
        ({"autosize": True}, False),
        ({"xaxis.range[0]": 20.0, "xaxis.range[1]": 10.0}, False),
        ({"xaxis.range[0]": "<b>", "xaxis.range[1]": 10.0}, False),
        ({"xaxis.range": [1]}, False),
        (None, False),
        ("text", False),
    ],
)
def test_only_a_zoom_is_a_zoom(event: object, window: object) -> None:
    assert visible(event) == window


def test_the_range_of_a_panel_holds_its_ratings() -> None:
    for panel in panels(review_m06(), build_b()):
        low, high = value_range(panel)
        assert all(low < r.value < high for r in panel.ratings)
    flat = replace(
        panels(review_m06(), build_b())[0],
        traces=(Trace("x", signal("pack_voltage_V", [0, 1], [5, 5]), "blue"),),
        ratings=(),
        from_zero=False,
    )
    low, high = value_range(flat)
    assert low < 5 < high
