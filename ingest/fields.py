"""The kinds of value that description files hold, shared by builds, packs, matches and the season file."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

ID_PATTERN = r"^[a-z][a-z0-9_]{0,39}$"
MATCH_ID_PATTERN = r"^[a-z0-9][a-z0-9_]{0,39}$"


def _unknown_is_none(value: Any) -> Any:
    return None if value == "unknown" else value


def _moment(value: Any) -> Any:
    """A date alone is its midnight: that orders the matches of different days, which is what it is for."""
    if not isinstance(value, str):
        return value
    try:
        return dt.datetime.fromisoformat(value)
    except ValueError:
        raise ValueError("is not a date and time such as 2026-05-09T14:20:00") from None


Positive = Annotated[float | None, BeforeValidator(_unknown_is_none), Field(gt=0)]
NotNegative = Annotated[float | None, BeforeValidator(_unknown_is_none), Field(ge=0)]
Number = Annotated[float | None, BeforeValidator(_unknown_is_none)]
# Our choice: from colder than any arena to hotter than any motor winding survives; catches mistyped figures.
Temperature = Annotated[float | None, BeforeValidator(_unknown_is_none), Field(ge=-60, le=1200)]
AirTemperature = Annotated[float | None, BeforeValidator(_unknown_is_none), Field(ge=-40, le=90)]
Count = Annotated[int | None, BeforeValidator(_unknown_is_none), Field(ge=1, le=1000)]
Text = Annotated[str | None, BeforeValidator(_unknown_is_none)]
Moment = Annotated[dt.datetime | None, BeforeValidator(_moment)]
Id = Annotated[str, Field(pattern=ID_PATTERN)]
MatchId = Annotated[str, Field(pattern=MATCH_ID_PATTERN)]


class Part(BaseModel):
    """A table of a description file: frozen, no key that is not known, no infinite or missing numbers."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, allow_inf_nan=False)
