"""Verdict and document of one recording, on analyses made up for it."""

import copy
import json

import pytest

from brakebeat.check import compare, load_limits, pool
from brakebeat.results import finite

from .builders import make_analysis, make_rep

LIMITS = load_limits()


@pytest.fixture
def reference():
    return make_analysis([make_rep(i, 2.2 * i) for i in range(8)])


@pytest.fixture
def firmware(reference):
    """Another engine's view: 0.5 % high in speed, 3 ms late, a tick off in the brake fraction."""
    own = copy.deepcopy(reference)
    own.engine = "micropython"
    for rep in own.reps:
        rep.peak_rad_s *= 1.005
        rep.start_us += 3000
        rep.brake_fraction += 0.01
        rep.concentric.mean_power_w *= 0.99
    return own


def test_engines_that_agree(firmware, reference):
    report = compare(firmware, reference, LIMITS, "barn.csv")
    assert report.verdict == "pass"
    assert (report.reps_firmware, report.reps_reference, report.matched) == (8, 8, 8)
    peak = report.agreement["peak_rad_s"]
    assert peak.agreement.max_rel == pytest.approx(0.005)
    assert peak.agreement.bias == pytest.approx(0.005 * 73.5)
    start = report.agreement["start_us"].agreement
    assert (start.bias, start.sd, start.loa_low, start.loa_high) == (3000, 0, 3000, 3000)
    assert start.max_rel is None


def test_document_has_the_schema_s_keys_and_no_others(firmware, reference):
    document = compare(firmware, reference, LIMITS, "barn.csv").to_document()
    assert list(document) == [
        "file",
        "verdict",
        "reps_firmware",
        "reps_reference",
        "matched",
        "only_firmware",
        "only_reference",
        "agreement",
    ]
    assert list(document["agreement"]) == [
        "peak_rad_s",
        "start_us",
        "extension_us",
        "end_us",
        "brake_fraction",
        "concentric_mean_power_w",
    ]
    for figure in document["agreement"].values():
        assert list(figure) == ["n", "bias", "loa_low", "loa_high", "max_abs", "max_rel", "limit", "ok"]
    json.dumps(finite(document), allow_nan=False)


@pytest.mark.parametrize(
    ("figure", "spoil"),
    [
        ("peak_rad_s", lambda rep: setattr(rep, "peak_rad_s", rep.peak_rad_s * 1.0155)),
        ("start_us", lambda rep: setattr(rep, "start_us", rep.start_us - 45_000)),
        ("extension_us", lambda rep: setattr(rep, "extension_us", rep.extension_us + 40_001)),
        ("end_us", lambda rep: setattr(rep, "end_us", rep.end_us + 40_001)),
        ("brake_fraction", lambda rep: setattr(rep, "brake_fraction", rep.brake_fraction - 0.12)),
        (
            "concentric_mean_power_w",
            lambda rep: setattr(rep.concentric, "mean_power_w", rep.concentric.mean_power_w * 0.95),
        ),
    ],
)
def test_one_bad_rep_fails_its_figure_only(firmware, reference, figure, spoil):
    spoil(firmware.reps[4])
    report = compare(firmware, reference, LIMITS)
    assert report.verdict == "fail"
    assert [name for name, it in report.agreement.items() if not it.ok] == [figure]


def test_a_rep_too_few_fails_though_the_rest_agrees(firmware, reference):
    del firmware.reps[3]
    report = compare(firmware, reference, LIMITS)
    assert report.verdict == "fail"
    assert (report.matched, report.only_firmware, report.only_reference) == (7, [], [3])
    assert all(figure.ok for figure in report.agreement.values())
    assert compare(reference, firmware, LIMITS).only_firmware == [3]


def test_unknown_on_both_sides_is_no_failure(firmware, reference):
    for rep in firmware.reps + reference.reps:
        rep.concentric.mean_power_w = None
    report = compare(firmware, reference, LIMITS)
    assert report.verdict == "pass"
    assert report.agreement["concentric_mean_power_w"].to_document() == {
        "n": 0,
        "bias": None,
        "loa_low": None,
        "loa_high": None,
        "max_abs": None,
        "max_rel": None,
        "limit": 0.05,
        "ok": True,
    }


def test_known_to_one_engine_only_is_a_failure_unless_flagged(firmware, reference):
    firmware.reps[5].brake_fraction = None
    report = compare(firmware, reference, LIMITS)
    assert report.verdict == "fail"
    assert (report.agreement["brake_fraction"].one_sided, report.agreement["brake_fraction"].ok) == (1, False)
    # A flag of the other engine is no excuse ...
    reference.reps[5].flags.append("few_edges")
    assert compare(firmware, reference, LIMITS).verdict == "fail"
    # ... the silent one's own is.
    firmware.reps[5].flags.append("few_edges")
    report = compare(firmware, reference, LIMITS)
    assert report.verdict == "pass"
    assert (report.agreement["brake_fraction"].withheld, report.agreement["brake_fraction"].agreement.n) == (
        1,
        7,
    )


def test_one_rep_has_no_limits_of_agreement():
    one = make_analysis([make_rep(0, 1.0)])
    report = compare(one, copy.deepcopy(one), LIMITS)
    assert report.verdict == "pass"
    assert report.agreement["peak_rad_s"].agreement.loa_low is None


def test_no_reps_at_all_agree():
    assert compare(make_analysis([]), make_analysis([]), LIMITS).verdict == "pass"


def test_pooled_figures_run_over_all_reps(firmware, reference):
    good = compare(reference, reference, LIMITS)
    off = compare(firmware, reference, LIMITS)
    pooled = pool([good, off], LIMITS)
    assert pooled["peak_rad_s"].agreement.n == 16
    assert pooled["start_us"].agreement.bias == 1500
