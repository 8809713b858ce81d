"""The limits file: shipped, replaced, wrong."""

import pytest

from brakebeat.check import load_limits
from brakebeat.check.limits import shipped_limits
from brakebeat.errors import InputError


def test_shipped_file_explains_every_limit():
    text = shipped_limits().read_text()
    limits = load_limits()
    for name in type(limits).model_fields:
        table = text.split(f"\n[{name}]\n")[1]
        assert table.startswith("# "), f"{name} has no reason"
    assert limits.peak_rad_s.statistic == "max_rel"
    assert limits.start_us.limit == 40_000


def test_a_file_of_ones_own(tmp_path):
    path = tmp_path / "strict.toml"
    path.write_text("\ufeff" + shipped_limits().read_text().replace("limit = 0.015", "limit = 0.001"))
    assert load_limits(path).peak_rad_s.limit == 0.001


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[peak_rad_s]", "[peak_rad]", r"peak_rad: is not known; did you mean peak_rad_s\?"),
        ("[peak_rad_s]", "[peak_rad]", r"peak_rad_s: is missing"),
        ("limit = 0.015", "limit = -1", r"peak_rad_s.limit: .*greater than 0 \(it is -1\)"),
        ("limit = 0.015", "limit = nan", r"peak_rad_s.limit: .*finite"),
        ("limit = 0.015", 'limit = "1 %"', r"peak_rad_s.limit: .*number"),
        ("limit = 0.015", "limit = true", r"peak_rad_s.limit: "),
        ("limit = 0.015", "limt = 1", r"peak_rad_s.limt: is not known; did you mean limit\?"),
        ("min_overlap = 0.5", "min_overlap = 1.0", r"matching.min_overlap: .*less than 1"),
        (
            'statistic = "max_rel"',
            'statistic = "mean"',
            r'peak_rad_s.statistic: must be one of "max_abs", "max_rel"',
        ),
        ("limit = 40_000", "limit = 4o", r"not TOML: .*line \d+"),
    ],
)
def test_errors_name_file_and_field(tmp_path, old, new, said):
    path = tmp_path / "limits.toml"
    path.write_text(shipped_limits().read_text().replace(old, new, 1))
    with pytest.raises(InputError, match=rf"limits\.toml: {said}"):
        load_limits(path)


def test_a_time_has_no_ratio(tmp_path):
    path = tmp_path / "limits.toml"
    head, table, tail = shipped_limits().read_text().partition("[end_us]")
    path.write_text(head + table + tail.replace("max_abs", "max_rel", 1))
    with pytest.raises(InputError, match="end_us: a time has no ratio"):
        load_limits(path)


def test_files_that_are_none(tmp_path):
    with pytest.raises(InputError, match=r"nowhere\.toml: cannot be read"):
        load_limits(tmp_path / "nowhere.toml")
    path = tmp_path / "binary.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match=r"binary\.toml: not UTF-8"):
        load_limits(path)
