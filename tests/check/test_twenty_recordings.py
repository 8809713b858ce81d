"""Twenty simulated recordings through the command line: the verdict, and both engines against the truth."""

import json
from types import SimpleNamespace

import pytest

from brakebeat.check import batch, match
from brakebeat.cli import main

SEEDS = range(1, 21)


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    """`brakebeat simulate` with each seed, then one `brakebeat check` of all."""
    folder = tmp_path_factory.mktemp("twenty")
    files = []
    for seed in SEEDS:
        recording, truth = folder / f"seed{seed}.csv", folder / f"seed{seed}.json"
        assert main(["simulate", "--seed", str(seed), "--out", str(recording), "--truth", str(truth)]) == 0
        files.append((str(recording), json.loads(truth.read_text())["reps"]))
    reports = []

    def remember(*arguments, **keywords):
        reports.extend(check_files(*arguments, **keywords))
        return reports

    check_files = batch.check_files
    with pytest.MonkeyPatch.context() as patch, pytest.MonkeyPatch.context() as output:
        lines: list[str] = []
        patch.setattr(batch, "check_files", remember)
        output.setattr("builtins.print", lambda *words, **_: lines.append(" ".join(map(str, words))))
        code = main(["check", "--json", *(file for file, _ in files)])
    truth = [[SimpleNamespace(**rep) for rep in reps] for _, reps in files]
    return SimpleNamespace(code=code, document=json.loads("\n".join(lines)), reports=reports, truth=truth)


def test_verdict_is_pass(checked):
    assert checked.code == 0
    assert checked.document["verdict"] == "pass"
    assert [entry["verdict"] for entry in checked.document["files"]] == ["pass"] * len(SEEDS)


def test_every_true_rep_is_found_and_no_other(checked):
    total = 0
    for report, truth in zip(checked.reports, checked.truth, strict=True):
        assert report.reps_firmware == report.reps_reference == report.matched == len(truth) > 0
        for engine in (0, 1):
            assert len(match([pair[engine] for pair in report.pairs], truth).pairs) == len(truth)
        total += len(truth)
    assert total >= 100


@pytest.mark.parametrize(("engine", "limit"), [(0, 0.01), (1, 0.003)], ids=["firmware", "reference"])
def test_peak_speed_is_true(checked, engine, limit):
    for report, truth in zip(checked.reports, checked.truth, strict=True):
        for pair, true in zip(report.pairs, truth, strict=True):
            assert pair[engine].peak_rad_s == pytest.approx(true.peak_rad_s, rel=limit), report.file
