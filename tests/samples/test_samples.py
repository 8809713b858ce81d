"""The sample recordings: all there, small, readable, reachable by name."""

import itertools
import json
import subprocess
import sys

import numpy as np
import pytest

from brakebeat.cli import main
from brakebeat.errors import InputError
from brakebeat.formats.recording import read_recording
from brakebeat.reference import analyse
from brakebeat.samples import copy_out, find, resolve, samples
from brakebeat.samples.make import RECIPES

LARGEST_BYTES = 200_000


def test_one_for_each_recipe():
    assert sorted(RECIPES) == [sample.name for sample in samples()]


@pytest.mark.parametrize("sample", samples(), ids=lambda sample: sample.name)
def test_small_and_readable(sample):
    assert sample.path.stat().st_size < LARGEST_BYTES
    recording = read_recording(sample.path)
    assert recording.rig.inertia_kg_m2 is not None
    assert sample.shows == RECIPES[sample.name][0]
    # Long enough for a few reps of a second or two.
    assert np.ptp(recording.t_us) > 10e6


def test_encoder_sample_knows_the_sense():
    step = read_recording(find("encoder")).step
    assert set(step.tolist()) == {-1, 1}


def test_dirty_sample_wraps_in_the_file_but_not_in_memory():
    path = find("dirty")
    written = [int(line.split(",")[0]) for line in path.read_text().splitlines() if line[0].isdigit()]
    assert sum(later < earlier for earlier, later in itertools.pairwise(written)) == 1
    assert (np.diff(read_recording(path).t_us) >= 0).all()


def test_names_and_paths(tmp_path):
    assert resolve("sample:clean") == find("clean")
    assert resolve(tmp_path / "mine.csv") == tmp_path / "mine.csv"
    with pytest.raises(InputError, match="did you mean sample:clean"):
        resolve("sample:cleen")
    with pytest.raises(InputError, match="the samples are clean, dirty"):
        resolve("sample:../../etc/passwd")


def test_copy_leaves_what_is_there(tmp_path):
    copies = copy_out(tmp_path / "new" / "folder")
    assert [copy.read_bytes() for copy in copies] == [sample.path.read_bytes() for sample in samples()]
    copies[0].write_text("mine now")
    copies[1].unlink()
    with pytest.raises(InputError, match=r"clean\.csv, .*: already there"):
        copy_out(tmp_path / "new" / "folder")
    assert copies[0].read_text() == "mine now"
    assert not copies[1].exists()


def test_copy_into_a_file(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        copy_out(tmp_path / "file")


def test_command_lists(capsys):
    assert main(["samples"]) == 0
    printed = capsys.readouterr().out
    for sample in samples():
        assert f"sample:{sample.name}" in printed
        assert sample.shows in printed


def test_command_copies_as_json(tmp_path):
    call = [sys.executable, "-m", "brakebeat", "samples", "--copy", str(tmp_path / "out"), "--json"]
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    assert done.returncode == 0
    document = json.loads(done.stdout)
    assert document["schema"] == 1
    for row in document["samples"]:
        assert read_recording(row["path"]).header["shows"] == row["shows"]
    again = subprocess.run(call, capture_output=True, text=True, check=False)
    assert again.returncode == 2
    assert again.stdout == ""
    assert "already there" in again.stderr


def test_recipes_still_work(tmp_path):
    """Byte equality would hang on the last bit of a floating point unit, so the edge count has to do."""
    from brakebeat.samples import make

    make.main(tmp_path)
    for sample in samples():
        again = read_recording(tmp_path / sample.path.name)
        assert again.header == read_recording(sample.path).header
        assert again.t_us.size == pytest.approx(read_recording(sample.path).t_us.size, rel=0.01)


def test_the_late_sample_names_its_reps_as_people_count_them():
    late = [
        number
        for number, rep in enumerate(analyse(read_recording(find("late"))).reps, 1)
        if rep.brake_timing == "late"
    ]
    words = next(sample.shows for sample in samples() if sample.name == "late")
    assert f"late brakes in reps {late[0]}, {late[1]} and {late[2]}," in words
    assert len(late) == 3
