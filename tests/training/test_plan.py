"""Blocks: clear of competition, reasons for warnings, calendar files that obey RFC 5545."""

import itertools
import json
import re
from datetime import UTC, date, datetime, time, timedelta

import icalendar
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brakebeat.cli import main
from brakebeat.errors import InputError
from brakebeat.training.block import BlockSettings, Competition
from brakebeat.training.calendar_file import calendar_bytes
from brakebeat.training.plan import clearance_h, lay_out, plan_document
from brakebeat.training.show_plan import plan_text

START = date(2027, 1, 4)
STAMP = datetime(2026, 11, 25, 12, tzinfo=UTC)


def days(plan) -> list[date]:
    return [each.starts.date() for each in plan.sessions]


def test_defaults():
    plan = lay_out(BlockSettings(START))
    assert len(plan.sessions) == 16
    assert {each.starts.weekday() for each in plan.sessions} == {0, 3}
    assert [plan.sessions[place].sets for place in (0, -1)] == [3, 6]
    assert plan.warnings == ()


def test_keeps_clear_of_a_competition_and_says_what_recovery_may_take():
    game = Competition(date(2027, 1, 16), name="Regional")
    plan = lay_out(BlockSettings(START, competitions=(game,)))
    assert all(clearance_h(plan.settings, day, game) >= 48 for day in days(plan))
    near = [each for each in plan.sessions if clearance_h(plan.settings, each.starts.date(), game) < 72]
    assert all("Regional" in each.warnings[0] for each in near)
    assert any("96 h" in text and "Rhodes" in text for text in plan.warnings)


def test_fewer_sessions_where_competitions_leave_no_room():
    games = tuple(Competition(date(2027, 1, day)) for day in (5, 7, 9))
    plan = lay_out(BlockSettings(START, competitions=games))
    assert sum(each.week == 1 for each in plan.sessions) == 0
    (said,) = [text for text in plan.warnings if text.startswith("week 1")]
    assert "0 of 2" in said
    assert "2027-01-07" in said


def test_one_a_week_in_season():
    plan = lay_out(BlockSettings(START, in_season=((date(2027, 1, 18), date(2027, 1, 31)),)))
    weeks = [sum(each.week == week for each in plan.sessions) for week in range(1, 9)]
    assert weeks == [2, 2, 1, 1, 2, 2, 2, 2]
    assert [each.sets for each in plan.sessions if each.in_season] == [3, 3]


def test_more_than_three_a_week_draws_a_warning():
    assert any("more than 3" in text for text in lay_out(BlockSettings(START, per_week=4)).warnings)
    assert any("5 to 10 weeks" in text for text in lay_out(BlockSettings(START, weeks=12)).warnings)


def test_clearance_counts_from_the_sessions_end_and_the_competitions_hour():
    settings = BlockSettings(START)
    assert clearance_h(settings, date(2027, 1, 7), Competition(date(2027, 1, 9), time(19))) == 48
    assert clearance_h(settings, date(2027, 1, 7), Competition(date(2027, 1, 9))) == 29
    assert clearance_h(settings, date(2027, 1, 11), Competition(date(2027, 1, 9))) == 42
    assert clearance_h(settings, date(2027, 1, 9), Competition(date(2027, 1, 9))) < 0


words = st.text(min_size=1, max_size=80).filter(str.isprintable)
dates = st.integers(-10, 70).map(lambda number: START + timedelta(days=number))


@st.composite
def blocks(draw) -> BlockSettings:
    return BlockSettings(
        START + timedelta(days=draw(st.integers(0, 6))),
        weeks=draw(st.integers(1, 7)),
        per_week=draw(st.integers(1, 5)),
        competitions=tuple(
            Competition(day, draw(st.none() | st.just(time(10))), draw(words))
            for day in draw(st.lists(dates, max_size=3, unique=True))
        ),
        unavailable=frozenset(draw(st.lists(dates, max_size=9))),
        days=draw(st.none() | st.just((1, 5))),
        exercise=draw(words),
    )


@settings(max_examples=40)
@given(blocks())
def test_whatever_is_asked_for(block):
    plan = lay_out(block)
    for day in days(plan):
        assert block.start <= day < block.start + timedelta(weeks=block.weeks)
        assert day not in block.unavailable
        assert all(clearance_h(block, day, each) >= block.clear_least_h for each in block.competitions)
    least = timedelta(hours=48 if block.per_week <= 3 else 24)
    assert all(b.starts - a.starts >= least for a, b in itertools.pairwise(plan.sessions))
    for week in range(1, block.weeks + 1):
        count = sum(each.week == week for each in plan.sessions)
        assert count <= block.per_week
        assert count == block.per_week or any(text.startswith(f"week {week} ") for text in plan.warnings)
    _obeys_rfc_5545(calendar_bytes(plan, made=STAMP), len(plan.sessions) + len(block.competitions))
    plan_text(plan)
    json.dumps(plan_document(plan))


def _obeys_rfc_5545(data: bytes, events: int) -> None:
    """The rules of RFC 5545 that a file like ours can break."""
    # 3.1: lines end in CRLF and are at most 75 octets long; UTF-8 (3.1.4).
    assert data.endswith(b"\r\n")
    lines = data.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    text = data.decode("utf-8").replace("\r\n ", "").replace("\r\n\t", "")
    content = text.split("\r\n")
    # 3.6: one calendar object; 3.7.3 and 3.7.4: PRODID and VERSION once each.
    assert (content[0], content[-2:]) == ("BEGIN:VCALENDAR", ["END:VCALENDAR", ""])
    assert sum(line.startswith("PRODID:") for line in content) == content.count("VERSION:2.0") == 1
    blocks_of = re.findall(r"BEGIN:VEVENT\r\n(.*?)END:VEVENT\r\n", text, re.DOTALL)
    assert len(blocks_of) == events
    uids = []
    for block in blocks_of:
        names = [re.split("[;:]", line, maxsplit=1)[0] for line in block.split("\r\n")[:-1]]
        # 3.6.1: UID, DTSTAMP and DTSTART, each once; a DTSTAMP is in UTC (3.8.7.2).
        assert all(names.count(name) == 1 for name in ("UID", "DTSTAMP", "DTSTART", "SUMMARY"))
        assert re.search(r"^DTSTAMP:\d{8}T\d{6}Z\r$", block, re.MULTILINE)
        uids.append(re.search(r"^UID:(.*)\r$", block, re.MULTILINE)[1])
        # 3.3.11: comma, semicolon and backslash are escaped in text; no other escape but a newline's.
        for value in re.findall(r"^(?:SUMMARY|DESCRIPTION):(.*)\r$", block, re.MULTILINE):
            assert re.fullmatch(r"(?:[^\\,;\x00-\x08\x0a-\x1f\x7f]|\\[\\,;nN])*", value), value
    # 3.8.4.7: unique.
    assert len(set(uids)) == len(uids)
    for event in icalendar.Calendar.from_ical(data).walk("VEVENT"):
        # 3.8.2.2: an end is of the kind of its start and later.
        if "dtend" in event:
            assert type(event["dtend"].dt) is type(event["dtstart"].dt)
            assert event["dtend"].dt > event["dtstart"].dt


def test_calendar_of_the_same_block_replaces_the_earlier_one():
    plan = lay_out(
        BlockSettings(START, exercise="squat; heavy, slow", competitions=(Competition(date(2027, 2, 6)),))
    )
    data = calendar_bytes(plan, "Mara", STAMP)
    _obeys_rfc_5545(data, 17)
    uids = [event["uid"] for event in icalendar.Calendar.from_ical(data).walk("VEVENT")]
    again = calendar_bytes(plan, "Mara", STAMP + timedelta(days=3))
    assert [event["uid"] for event in icalendar.Calendar.from_ical(again).walk("VEVENT")] == uids
    other = calendar_bytes(plan, "Io", STAMP)
    assert not {event["uid"] for event in icalendar.Calendar.from_ical(other).walk("VEVENT")} & set(uids)
    assert icalendar.Calendar.from_ical(data).walk("VEVENT")[0]["summary"] == "squat; heavy, slow: 3 x 6-8"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--start", "soon"), "--start"),
        (("--start", "2027-01-04", "--weeks", "0"), "weeks: 0"),
        (("--start", "2027-01-04", "--sets", "6-3"), "sets: 6-3"),
        (("--start", "2027-01-04", "--reps", "many"), "--reps"),
        (("--start", "2027-01-04", "--days", "mon,nil"), "'nil'"),
        (("--start", "2027-01-04", "--at", "six"), "--at"),
        (("--start", "2027-01-04", "--competition", "2027-02-30"), "--competition"),
        (("--start", "2027-01-04", "--in-season", "2027-02-03:2027-02-01"), "ends before"),
        (("--start", "9999-12-30"), "too late"),
        (("--start", "2027-01-04", "--exercise", "a\nb"), "printable"),
        (("--start", "2027-01-04", "--competition", "2027-01-20=a\x07b"), "printable"),
    ],
)
def test_wrong_calls(arguments, words, capsys):
    assert main(["plan", *arguments]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert words in streams.err


def test_command_writes_and_keeps(tmp_path, capsys):
    store, file = str(tmp_path / "log"), tmp_path / "block.ics"
    call = ["plan", "--start", "2027-01-04", "--competition", "2027-01-30T10:00=Final", "--ics", str(file)]
    assert main([*call, "--athlete", "Mara Quill", "--store", store, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    _obeys_rfc_5545(file.read_bytes(), len(document["sessions"]) + 1)
    assert main(["log", "show", "plan:1", "--store", store]) == 0
    kept = json.loads(capsys.readouterr().out)["plan"]
    assert kept["sessions"] == document["sessions"]
    assert main(call) == 0
    assert "Not medical advice" in capsys.readouterr().out
    with pytest.raises(InputError):
        BlockSettings(START, days=())


SETTINGS = """
start = 2027-01-04
weeks = 6
sets = 4
competition = ["2027-01-30T10:00=Final"]
days = ["mon", "thu"]
clear = 96
"""


def test_settings_come_from_a_file_and_the_command_line_wins(tmp_path, capsys):
    file = tmp_path / "block.toml"
    file.write_text(SETTINGS)
    assert main(["plan", "--settings", str(file), "--weeks", "5", "--json"]) == 0
    by_file = json.loads(capsys.readouterr().out)
    call = ["--start", "2027-01-04", "--weeks", "5", "--sets", "4", "--days", "mon,thu", "--clear", "96"]
    assert main(["plan", *call, "--competition", "2027-01-30T10:00=Final", "--json"]) == 0
    assert by_file == json.loads(capsys.readouterr().out)
    assert by_file["weeks"] == 5


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("weekz = 3", "did you mean 'weeks'"),
        ("weeks = 'many'", "weeks"),
        ("weeks = 2.5", "whole number"),
        ("weeks = true", "weeks"),
        ("at = [1.5]", "at"),
        ("weeks = = 3", "is no TOML"),
        ("weeks = 3", "--start: missing"),
    ],
)
def test_wrong_settings_files(text, words, tmp_path, capsys):
    file = tmp_path / "block.toml"
    file.write_text(text)
    assert main(["plan", "--settings", str(file)]) == 2
    error = capsys.readouterr().err
    assert words in error
    assert words == "--start: missing" or str(file) in error


def test_a_single_week_begins_with_the_fewest_sets():
    block = lay_out(BlockSettings(START, weeks=1))
    assert {each.sets for each in block.sessions} == {BlockSettings.sets[0]}
    assert "1 week from" in block.title
