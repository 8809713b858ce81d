"""The limits file: how far the engines may lie apart, read from TOML and checked field by field."""

from __future__ import annotations

import difflib
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails

from brakebeat.errors import InputError, reason

Statistic = Literal["max_abs", "max_rel"]

_STRICT = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class FigureLimit(BaseModel):
    """What of a figure is limited, and to what; unit as the statistic's (see the limits file)."""

    model_config = _STRICT
    statistic: Statistic
    limit: Annotated[float, Field(gt=0)]


class MatchingLimit(BaseModel):
    """``min_overlap``: part of the time spanned together that two reps must share to be one pair."""

    model_config = _STRICT
    min_overlap: Annotated[float, Field(ge=0, lt=1)]


class Limits(BaseModel):
    """A whole limits file; every table must be there, so that nobody relies on a default unseen."""

    model_config = _STRICT
    matching: MatchingLimit
    peak_rad_s: FigureLimit
    start_us: FigureLimit
    extension_us: FigureLimit
    end_us: FigureLimit
    brake_fraction: FigureLimit
    concentric_mean_power_w: FigureLimit

    @model_validator(mode="after")
    def _times_have_no_ratio(self) -> Limits:
        for name in ("start_us", "extension_us", "end_us"):
            if getattr(self, name).statistic == "max_rel":
                raise ValueError(f'{name}: a time has no ratio, use statistic = "max_abs"')
        return self


def shipped_limits() -> Path:
    """Where the limits file that comes with the package lies."""
    return Path(str(files("brakebeat.check") / "limits.toml"))


def load_limits(path: str | Path | None = None) -> Limits:
    """The limits in ``path``, or the package's own. ``InputError`` names the file and the field or line."""
    source = shipped_limits() if path is None else Path(path)
    try:
        document = tomllib.loads(source.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise InputError(
            f"{source}: cannot be read ({reason(error)}); check the name and the rights, or leave --limits out"
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(f"{source}: not UTF-8 text at byte {error.start}; a limits file is TOML") from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{source}: not TOML: {error}") from error
    try:
        return Limits.model_validate(document)
    except ValidationError as error:
        raise InputError(_in_words(source, error)) from error


def _in_words(source: Path, error: ValidationError) -> str:
    lines = [f"{source}: {_problem_in_words(problem)}" for problem in error.errors()]
    return "\n".join([*lines, f"a complete example is {shipped_limits()}"])


def _problem_in_words(problem: ErrorDetails) -> str:
    where, kind, message = ".".join(map(str, problem["loc"])), problem["type"], problem["msg"]
    if kind == "missing":
        return f"{where}: is missing"
    if kind == "extra_forbidden":
        return f"{where}: is not known{_suggestion(problem['loc'])}"
    if kind == "value_error":
        return message.removeprefix("Value error, ")
    if kind == "literal_error":
        message = "must be one of " + ", ".join(f'"{word}"' for word in get_args(Statistic))
    return f"{where}: {message[:1].lower()}{message[1:]} (it is {problem['input']!r})"


def _suggestion(location: tuple[int | str, ...]) -> str:
    known: list[str] = list(Limits.model_fields)
    if len(location) > 1:
        table = MatchingLimit if location[0] == "matching" else FigureLimit
        known = list(table.model_fields)
    close = difflib.get_close_matches(str(location[-1]), known, n=1)
    return f"; did you mean {close[0]}?" if close else f"; known: {', '.join(known)}"
