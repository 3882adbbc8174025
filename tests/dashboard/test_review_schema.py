"""The review document holds to its committed schema, and the schema refuses what is not a review."""

from __future__ import annotations

import copy
import json
from importlib.resources import files
from typing import Any

import pytest
from jsonschema import Draft202012Validator, ValidationError

from analysis.findings import CAUSES, KINDS
from dashboard.reviewing import review_files
from tests.dashboard.made_up import calm_review, review_m06, unknown_review

SCHEMA = json.loads((files("dashboard") / "schemas" / "review.schema.json").read_text(encoding="utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA)


@pytest.mark.parametrize("review", [review_m06, calm_review, unknown_review])
def test_reviews_hold_to_the_schema(review: Any) -> None:
    Draft202012Validator.check_schema(SCHEMA)
    VALIDATOR.validate(json.loads(json.dumps(review().to_dict(), allow_nan=False)))


def test_a_real_review_holds_to_the_schema(tmp_path: Any) -> None:
    log = tmp_path / "pack.csv"
    rows = "".join(f"{i / 50:.2f},{24 - 0.02 * (i % 40):.3f},{5 + (i % 40):.2f}\n" for i in range(1500))
    log.write_text("time_s,pack_voltage_V,pack_current_A\n" + rows, encoding="utf-8")
    document = review_files([str(log)], cells=6).review.to_dict()
    VALIDATOR.validate(json.loads(json.dumps(document, allow_nan=False)))


def test_every_kind_and_cause_of_the_code_is_in_the_schema() -> None:
    finding = SCHEMA["$defs"]["finding"]["properties"]
    assert finding["kind"]["enum"] == list(KINDS)
    assert finding["cause"]["enum"] == list(CAUSES)


def _set(path: tuple[Any, ...], value: Any) -> Any:
    def change(document: dict[str, Any]) -> None:
        inner: Any = document
        for key in path[:-1]:
            inner = inner[key]
        if value is None:
            del inner[path[-1]]
        else:
            inner[path[-1]] = value

    return change


@pytest.mark.parametrize(
    "change",
    [
        _set(("schema",), "afterbout.review/2"),
        _set(("lines",), ["only one"]),
        _set(("match", "verdict"), "fine"),
        _set(("findings", 0, "kind"), "gremlins"),
        _set(("findings", 0, "cause"), "bad_luck"),
        _set(("findings", 0, "start_s"), "soon"),
        _set(("findings", 0, "occurrences"), [[1.0, 2.0]]),
        _set(("not_checked", 0, "mend"), ""),
        _set(("match", "logs", 0, "sha256"), "abc"),
        _set(("passed", 0, "rating_source"), None),
        _set(("cautions",), None),
        _set(("extra",), 1),
    ],
)
def test_what_is_no_review_is_refused(change: Any) -> None:
    document = copy.deepcopy(review_m06().to_dict())
    change(document)
    with pytest.raises(ValidationError):
        VALIDATOR.validate(document)
