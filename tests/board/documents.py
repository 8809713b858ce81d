"""The JSON document of schema 1, checked key by key, by hand and from the published shape alone."""

import json
import math
from typing import Any

PHASE = ("duration_s", "energy_j", "mean_power_w", "peak_power_w", "peak_torque_nm", "peak_force_n")
FLAGS = {"few_edges", "zero_assumed", "repaired", "thinned", "gap"}
ENGINES = {"micropython", "cpython", "reference"}
CUES = {"window", "late", "drop_off", "set_done"}


def only_document(text: str) -> dict[str, Any]:
    """The one JSON document that ``text`` is; NaN and infinities are no JSON."""

    def refuse(name: str) -> None:
        raise AssertionError(f"{name} in the document")

    document = json.loads(text, parse_constant=refuse)
    assert isinstance(document, dict)
    return document


def _keys(value: Any, *names: str) -> None:
    assert isinstance(value, dict)
    assert list(value) == list(names)


def _whole(value: Any, least: int | None = 0) -> None:
    assert type(value) is int
    assert least is None or value >= least


def _number(value: Any) -> None:
    assert type(value) in (int, float)
    assert math.isfinite(value)


def _number_or_null(value: Any) -> None:
    if value is not None:
        _number(value)


def check_document(document: dict[str, Any]) -> None:
    """Every key, type and null as published; nothing more."""
    _keys(document, "schema", "engine", "pulses", "reps", "sets", "cues", "quality")
    assert document["schema"] == 1
    assert document["engine"] in ENGINES
    _whole(document["pulses"])
    assert [rep["index"] for rep in document["reps"]] == list(range(len(document["reps"])))
    for rep in document["reps"]:
        _check_rep(rep, document["engine"])
    _check_sets(document["sets"], len(document["reps"]))
    for cue in document["cues"]:
        _keys(cue, "t_us", "rep", "kind")
        _whole(cue["t_us"])
        _whole(cue["rep"])
        assert cue["kind"] in CUES
    times = [cue["t_us"] for cue in document["cues"]]
    assert times == sorted(times)
    _keys(document["quality"], "bounced", "missed", "spurious", "overrun", "incomplete")
    for value in document["quality"].values():
        if value is not None:
            _whole(value)


def _check_rep(rep: dict[str, Any], engine: str) -> None:
    names = [
        *("index", "momentum", "start_us", "extension_us", "end_us", "peak_us", "peak_rad_s"),
        *("concentric_rad", "eccentric_rad", "brake_onset_us", "brake_fraction", "brake_timing"),
        *("concentric", "eccentric", "ratio_peak_power", "ratio_mean_power", "flags"),
    ]
    if engine == "reference":
        rep = {name: value for name, value in rep.items() if name != "uncertainty"}
    _keys(rep, *names)
    assert type(rep["momentum"]) is bool
    for name in ("start_us", "extension_us", "end_us", "peak_us"):
        _whole(rep[name], None)
    assert rep["start_us"] < rep["extension_us"] < rep["end_us"]
    assert rep["start_us"] <= rep["peak_us"] <= rep["end_us"]
    for name in ("peak_rad_s", "concentric_rad", "eccentric_rad"):
        _number(rep[name])
        assert rep[name] > 0
    _check_brake(rep)
    for phase in ("concentric", "eccentric"):
        _keys(rep[phase], *PHASE)
        _number(rep[phase]["duration_s"])
        for name in PHASE[1:]:
            _number_or_null(rep[phase][name])
    for name, figure in (("ratio_peak_power", "peak_power_w"), ("ratio_mean_power", "mean_power_w")):
        top, bottom = (rep[phase][figure] for phase in ("eccentric", "concentric"))
        if top is None or not bottom:
            assert rep[name] is None
        else:
            assert math.isclose(rep[name], top / bottom)
    assert set(rep["flags"]) <= FLAGS
    assert len(set(rep["flags"])) == len(rep["flags"])


def _check_brake(rep: dict[str, Any]) -> None:
    timing = rep["brake_timing"]
    assert timing in ("early", "inside", "late", "none", None)
    known = timing in ("early", "inside", "late")
    assert (rep["brake_onset_us"] is not None) == known
    assert (rep["brake_fraction"] is not None) == known
    if known:
        _whole(rep["brake_onset_us"], None)
        assert rep["extension_us"] <= rep["brake_onset_us"] <= rep["end_us"]
        _number(rep["brake_fraction"])


def _check_sets(sets: list[dict[str, int]], reps: int) -> None:
    """Inclusive ranges that hold every rep once, in order."""
    following = 0
    for one in sets:
        _keys(one, "first", "last")
        assert one["first"] == following <= one["last"]
        following = one["last"] + 1
    assert following == reps
