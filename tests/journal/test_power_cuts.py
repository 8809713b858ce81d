"""The journal on flash that loses its power at every step: what was written stays, what was not is not made up."""

import copy

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.board_app.firmware import journal, packed_rep, wire
from tests.journal.model_flash import ModelFlash, PowerCut

REP = 1
ID_AND_SEQUENCE = wire.field_offset(wire.RECORD_HEAD_FIELDS, "sequence")


def records(found):
    """Every record of a journal by sequence number, as (kind, body)."""
    whole = {}
    for sequence in range(found.oldest, found.next):
        record = found.get(sequence)
        if record is not None:
            record = bytes(record)
            whole[sequence] = (record[0], record[8 : 8 + record[1]])
    return whole


def prepared(flash, reps):
    """A journal with ``reps`` records on the flash, the wheel resting now and then."""
    kept = journal.Journal(flash)
    for index in range(reps):
        write(kept, index)
    return kept


def write(kept, index):
    kept.put(REP, packed_rep(index, index))
    kept.service(at_rest=False)
    for _ in range(3):
        kept.service(at_rest=True)


def operation(flash, reps, name):
    """A journal one step before an append, an erase, a wipe or its first use."""
    kept = prepared(flash, reps)
    if name == "append":
        kept.put(REP, packed_rep(reps, 0xA5))
        return kept, lambda: kept.service(at_rest=False)
    if name == "wipe":
        return kept, lambda: wipe(kept, flash.blocks)
    # Fill up to where the next rest brings an erase.
    while kept._limit // 4 - kept.next // 4 >= 2:
        kept.put(REP, packed_rep(kept.next, kept.next))
        kept.service(at_rest=False)
    return kept, lambda: kept.service(at_rest=True)


@pytest.mark.parametrize("reps", [0, 1, 3, 4, 5, 11, 12, 13, 16, 29])
@pytest.mark.parametrize("name", ["append", "erase", "wipe"])
def test_a_cut_at_every_byte_loses_nothing_before_and_invents_nothing_after(name, reps):
    for seed in range(3):
        reference = ModelFlash(seed=seed, step=1)
        kept, act = operation(reference, reps, name)
        before = records(kept)
        start = reference.steps
        saved = copy.deepcopy(reference.data)
        act()
        after = records(kept)
        whole = reference.steps - start
        assert whole > 0 or name == "append"
        # All bytes of the short operations, some of those of the long one.
        for cut in range(0, whole, 1 if whole < 700 else 37):
            flash = ModelFlash(seed=seed * 1000 + cut, step=1)
            _, act_again = operation_on(flash, saved, reps, name)
            flash.cut_after = flash.steps + cut
            with pytest.raises(PowerCut):
                act_again()
            flash.cut_after = None
            check_after_cut(flash, before, after, name)


def wipe(kept, blocks):
    kept.wipe()
    for _ in range(2 * blocks):
        kept.service(at_rest=True)


def operation_on(flash, saved, reps, name):
    """The same operation on a copy of the flash as it was before."""
    flash.data = copy.deepcopy(saved)
    again = journal.Journal(flash)
    if name == "append":
        again.put(REP, packed_rep(reps, 0xA5))
        return again, lambda: again.service(at_rest=False)
    if name == "wipe":
        return again, lambda: wipe(again, flash.blocks)
    return again, lambda: again.service(at_rest=True)


def check_after_cut(flash, before, after, name):
    found = journal.Journal(flash)
    seen = records(found)
    # Nothing is there that was not written as it stands.
    assert all(before.get(sequence, after.get(sequence)) == record for sequence, record in seen.items())
    if name == "append":
        assert before.items() <= seen.items()
    elif name == "erase":
        # The block at work held the oldest records, and only those may be gone.
        assert {s: r for s, r in before.items() if s in after}.items() <= seen.items()
    # And the journal goes on from there: new numbers, new records, the old ones kept.
    for _ in range(4):
        found.service(at_rest=True)
    keep = records(found)
    first = found.next
    assert first > max(seen, default=-1)
    found.put(REP, packed_rep(0, 0x77))
    found.service(at_rest=False)
    assert records(found) == keep | {first: (REP, packed_rep(0, 0x77))}
    assert flash.programmed_twice == 0


class Model:
    """What must be in the journal, what may be, and what waits for room, beside the journal itself."""

    def __init__(self, seed, blocks, pages):
        self.flash = ModelFlash(blocks, pages, seed)
        self.kept = journal.Journal(self.flash)
        self.each = pages - 1
        self.must = {}
        self.may = {}
        self.waiting = []
        self.count = 0
        self.cuts = 0
        self.wiped = False

    def rep(self):
        self.count += 1
        self.waiting.append((REP, packed_rep(self.count, self.count)))
        self.kept.put(*self.waiting[-1])
        self.serve(at_rest=False)

    def serve(self, at_rest):
        first = self.kept.next
        if self.waiting:
            # Should the power go now it may be whole all the same.
            self.may[first] = self.waiting[0]
        self.kept.service(at_rest)
        if self.kept.next > first:
            self.must[first] = self.waiting.pop(0)
        if at_rest and self.kept.oldest:
            self.must = {s: r for s, r in self.must.items() if s >= self.kept.oldest}

    def wipe(self):
        self.may |= self.must
        self.must = {}
        self.wiped = True
        self.kept.wipe()

    def reboot(self):
        oldest = self.kept.oldest
        lap = self.kept._limit - self.flash.blocks * self.each + self.each
        self.flash.cut_after = None
        self.cuts += 1
        self.waiting = []
        self.kept = journal.Journal(self.flash)
        # The block whose erase was cut short is as good as erased; of nothing else may a record miss.
        self.must = {s: r for s, r in self.must.items() if s >= max(oldest, lap)}
        self.check()

    def check(self):
        found = records(self.kept)
        assert self.must.items() <= found.items()
        assert found.items() <= (self.may | self.must).items()
        self.may |= found
        assert self.kept.next > max(found, default=-1)
        blocks = self.flash.blocks
        if not self.wiped:
            ready = max(blocks // 4, 1) + 1
            assert self.kept.oldest <= max(0, self.kept.next // self.each + ready - blocks) * self.each
        assert self.flash.programmed_twice == 0
        assert max(self.flash.erased) - min(self.flash.erased) <= 1 + self.cuts


@settings(max_examples=120, deadline=None)
@given(data=st.data(), seed=st.integers(0, 2**32), blocks=st.integers(2, 9), pages=st.integers(3, 6))
def test_any_history_of_writes_rests_cuts_and_wipes(data, seed, blocks, pages):
    model = Model(seed, blocks, pages)
    for _ in range(data.draw(st.integers(1, 60))):
        action = data.draw(st.sampled_from(["rep", "rep", "rep", "rest", "rest", "cut", "off", "wipe"]))
        try:
            match action:
                case "rep":
                    model.rep()
                case "rest":
                    model.serve(at_rest=True)
                case "wipe":
                    model.wipe()
                case "cut":
                    model.flash.cut_after = model.flash.steps + data.draw(st.integers(0, 40))
                case "off":
                    model.reboot()
        except PowerCut:
            model.reboot()
        model.check()


def test_a_power_up_that_wrote_something_has_a_boot_number_of_its_own():
    flash = ModelFlash(blocks=4, pages=5)
    boots = []
    for index in range(30):
        kept = journal.Journal(flash)
        for _ in range(4):
            kept.service(at_rest=True)
        write(kept, index)
        boots.append(int.from_bytes(kept.get(kept.next - 1)[2:4], "little"))
    assert boots == sorted(set(boots))


def test_wear_is_spread_and_what_nobody_took_is_counted():
    flash = ModelFlash(blocks=8, pages=5)
    kept = prepared(flash, 1000)
    assert max(flash.erased) - min(flash.erased) <= 1
    assert max(flash.erased) == kept.erases <= 1000 // (8 * 4) + 2
    assert kept.overwritten == kept.oldest
    assert kept.next - kept.oldest >= (8 - 3) * 4
    kept.acknowledged = kept.next
    before = kept.overwritten
    for index in range(8):
        write(kept, index)
    assert kept.overwritten == before


def test_a_long_set_without_rest_waits_in_memory_and_what_finds_no_room_is_counted():
    flash = ModelFlash(blocks=4, pages=5)
    kept = prepared(flash, 0)
    for _ in range(4):
        kept.service(at_rest=True)
    for index in range(100):
        kept.put(REP, packed_rep(index))
        kept.service(at_rest=False)
    stored = len(records(kept))
    assert stored == 8
    assert kept.lost == 100 - stored - 64
    for _ in range(400):
        kept.service(at_rest=True)
    assert [int.from_bytes(body[4:8], "little") for _, body in records(kept).values()] == list(range(100))[
        -8:
    ]
