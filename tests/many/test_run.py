"""Many recordings through both engines: kept, taken up again, the same wherever they are worked out."""

import json

import pytest

from brakebeat.errors import InputError
from brakebeat.formats.rig_model import Rig
from brakebeat.many.folder import ResultsFolder
from brakebeat.many.processes import here, in_processes
from brakebeat.many.run import work_through
from brakebeat.many.sources import named_recordings
from brakebeat.many.version import versions_of
from brakebeat.many.work import Order

from .conftest import tree

ORDER = Order(versions_of(("cpython", "reference")))


def _work(sets, folder, runner=here, order=ORDER):
    return work_through(named_recordings([str(sets)]), order, runner, ResultsFolder(folder, order))


@pytest.fixture(scope="module")
def kept(sets, tmp_path_factory):
    """The results of one call that nothing disturbed."""
    folder = tmp_path_factory.mktemp("kept")
    return folder, _work(sets, folder)


def test_a_bad_recording_is_named_and_the_rest_is_worked_out(sets, kept):
    _, found = kept
    assert [one.name for one in found] == named_recordings([str(sets)])
    faults = [one for one in found if one.fault is not None]
    assert [one.fault.words.partition(": ")[0] for one in faults] == [f"{sets}/broken.csv:5"]
    for one in found:
        if one.fault is None:
            assert len(one.analysis("reference").reps) == len(one.analysis("cpython").reps) == 2
            assert one.document("cpython")["header"]["athlete"] == "Mara Quill"


def test_the_answers_are_those_of_single_calls(kept):
    from brakebeat.formats.recording import read_recording
    from brakebeat.reference import analyse

    found = kept[1][1]
    assert found.document("reference")["analysis"] == analyse(read_recording(found.name)).to_document()
    assert found.analysis("reference").to_document() == found.document("reference")["analysis"]


def test_processes_give_the_same_bits(sets, kept, tmp_path):
    _work(sets, tmp_path, in_processes(2))
    assert tree(tmp_path) == tree(kept[0])


def test_a_call_goes_on_where_it_stopped(sets, kept, tmp_path):
    def stop_early():
        if len(list(tmp_path.rglob("*.json"))) > 4:
            raise KeyboardInterrupt

    names = named_recordings([str(sets)])
    with pytest.raises(KeyboardInterrupt):
        work_through(names, ORDER, here, ResultsFolder(tmp_path, ORDER), stop_early)
    before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.json")}
    found = _work(sets, tmp_path)
    assert 0 < sum(one.kept for one in found) < 5
    assert {path: path.stat().st_mtime_ns for path in before} == before
    assert tree(tmp_path) == tree(kept[0])


def test_a_result_that_is_cut_is_made_anew(sets, kept, tmp_path):
    _work(sets, tmp_path)
    results = sorted(tmp_path.glob("reference/*/*.json"))
    results[0].write_bytes(results[0].read_bytes()[:200])
    results[1].write_bytes(b"")
    found = _work(sets, tmp_path)
    assert sum(one.kept for one in found) == 3
    assert tree(tmp_path) == tree(kept[0])


def test_a_renamed_recording_is_known_by_its_content(kept, sets, tmp_path):
    copy = tmp_path / "renamed.csv"
    copy.write_bytes((sets / "set1.csv").read_bytes())
    found = work_through([str(copy)], ORDER, here, ResultsFolder(kept[0], ORDER))
    assert found[0].kept
    assert found[0].name == str(copy)


def test_another_rig_or_other_code_is_not_taken_for_the_same(kept, sets):
    rig = Rig(pulses_per_rev=6, inertia_kg_m2=0.2)
    for order in (
        Order(ORDER.versions, rig),
        Order({**ORDER.versions, "reference": "other", "cpython": "other"}),
    ):
        other = ResultsFolder(kept[0], order)
        assert not any(other.has(engine, one.digest) for engine in ORDER.engines for one in kept[1])


def test_a_folder_with_other_things_in_it_is_left_alone(sets):
    before = tree(sets)
    with pytest.raises(InputError, match="holds other things than results"):
        ResultsFolder(sets, ORDER)
    assert tree(sets) == before


def test_an_engine_that_breaks_down_is_told_of_one_recording(sets, monkeypatch):
    import brakebeat.reference

    def broken(_recording):
        raise ZeroDivisionError("by none")

    monkeypatch.setattr(brakebeat.reference, "analyse", broken)
    found = work_through([str(sets / "set1.csv"), str(sets / "absent.csv")], ORDER, here)
    assert "set1.csv: the reference broke down (ZeroDivisionError: by none)" in found[0].fault.words
    assert "absent.csv: cannot be read" in found[1].fault.words
    assert list(found[0].documents) == ["cpython"]


def test_documents_are_json_without_nan(kept):
    for path in kept[0].glob("*/*/*.json"):
        json.loads(path.read_text(), parse_constant=pytest.fail)
