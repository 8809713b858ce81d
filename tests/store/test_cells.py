"""No cell of an exported CSV is a formula to a spreadsheet, and every text comes back as it was."""

import csv
import io

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from brakebeat.formats.rig import Rig
from brakebeat.store import open_store
from brakebeat.store.cells import shielded, unshielded
from brakebeat.store.flat import import_flat
from brakebeat.store.queries import sets
from brakebeat.store.table import FREE_TEXT, NUMBER_COLUMNS, export_csv, write_csv
from tests.store.made_up import a_set

# What makes a cell a formula (OWASP, "CSV Injection", from memory).
BEGINS_A_FORMULA = (*"=+-@\t\r\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")

# Any text, but more often than not one that begins like a formula or with apostrophes.
texts = st.text() | st.builds(
    lambda begin, rest: begin + rest,
    st.text(st.sampled_from("'" + "".join(BEGINS_A_FORMULA)), min_size=1, max_size=4),
    st.text(),
)


@given(texts)
@example("=1+1")
@example("'=1+1")
@example("''@SUM(A1)")
def test_a_shielded_text_is_no_formula_and_comes_back(text):
    assert not shielded(text).startswith(BEGINS_A_FORMULA)
    assert unshielded(shielded(text)) == text


@given(texts)
def test_two_texts_never_make_the_same_cell(text):
    for other in (text[1:], "'" + text):
        assert (shielded(other) == shielded(text)) == (other == text)


@pytest.mark.parametrize("plain", ["", "squat", "'s Hertogen", "''", "5 - 3", "1=1", "Mara Quill"])
def test_harmless_text_stays(plain):
    assert shielded(plain) == unshielded(plain) == plain


@pytest.mark.parametrize("cell", ["=1+1", "-5", "@home"])
def test_tables_without_shields_come_back_as_they_stand(cell):
    assert unshielded(cell) == cell


# Names as the store takes them: printable, not only blanks, no colon, no number.
names = texts.map(
    lambda text: " ".join(("".join(filter(str.isprintable, text))).replace(":", "").split())[:20]
).filter(lambda name: name != "" and not name.isdecimal())
rig_names = names.map(lambda name: name.replace('"', "").replace("\\", "")).filter(bool)


@settings(max_examples=40)
@given(athlete=names, exercise=names, rig=rig_names, version=texts.filter(bool))
@example(athlete="=1+1", exercise='@SUM(1,"2")', rig="'-x", version="\t=1\r\n+2")
def test_a_store_goes_out_and_comes_back(athlete, exercise, rig, version, tmp_path_factory):
    folder = tmp_path_factory.mktemp("cells")
    a_rig = Rig(name=rig, pulses_per_rev=6, inertia_kg_m2=0.12)
    with open_store(folder / "a") as store, open_store(folder / "b") as other:
        a_set(store, 2, athlete=athlete, exercise=exercise, rig=a_rig, engine_version=version)
        export_csv(store, folder / "e.csv")
        import_flat(other, folder / "e.csv")
        there, back = next(sets(store)), next(sets(other))
    with (folder / "e.csv").open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream, strict=True):
            assert not any(row[name].startswith(BEGINS_A_FORMULA) for name in FREE_TEXT)
    assert (back.athlete, back.exercise, back.rig, back.engine_version) == (athlete, exercise, rig, version)
    assert (there.athlete, there.exercise, there.rig, there.engine_version) == (
        athlete,
        exercise,
        rig,
        version,
    )


def test_only_numbers_begin_with_a_sign(tmp_path):
    """A number below zero is one to a spreadsheet, too: it stays as it is."""
    with open_store(tmp_path / "a") as store:
        a_set(store, 3, athlete="-5 kg", exercise="+1")
        stream = io.BytesIO()
        write_csv(store, stream)
    for row in csv.DictReader(io.StringIO(stream.getvalue().decode())):
        assert (row["athlete"], row["exercise"]) == ("'-5 kg", "'+1")
        for name, cell in row.items():
            if cell.startswith(BEGINS_A_FORMULA):
                assert name in NUMBER_COLUMNS
                float(cell)
