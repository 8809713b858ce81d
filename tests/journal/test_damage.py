"""Flash that has forgotten bits: what is whole is still given, what is not is counted, and nothing is made up."""

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.board_app.firmware import journal, packed_rep
from tests.journal.model_flash import PAGE, ModelFlash
from tests.journal.test_power_cuts import REP, prepared, records

DAMAGE = st.lists(
    st.tuples(st.integers(0, 7), st.integers(0, 4), st.integers(0, 115), st.integers(1, 255)), max_size=6
)


def damaged(flash, damage):
    for block, page, at, bits in damage:
        flash.data[block % flash.blocks][page % flash.pages * PAGE + at] ^= bits


@settings(max_examples=80)
@given(reps=st.integers(1, 60), damage=DAMAGE, blocks=st.integers(3, 8))
def test_any_bits(reps, damage, blocks):
    flash = ModelFlash(blocks, 5)
    kept = prepared(flash, reps)
    before, name = records(kept), kept.id
    damaged(flash, damage)
    # Of a block as a whole, its marker is what else may be spoilt.
    spoilt = {block % blocks for block, page, _, _ in damage if page % 5 == 0}
    found = journal.Journal(flash)
    after = records(found)
    if found.id == name:
        assert after.items() <= before.items()
        hit = {(block % blocks, page % 5) for block, page, _, _ in damage}
        whole = {
            number: record
            for number, record in before.items()
            if (number // 4 % blocks, number % 4 + 1) not in hit and number // 4 % blocks not in spoilt
        }
        assert whole.items() <= after.items()
        missing = [
            number for number in range(found.oldest, found.next) if number in before and number not in after
        ]
        assert found.torn >= len(missing)
        torn = found.torn
        records(found)
        assert found.torn == torn
    # And it goes on: numbers that were never used, the old ones kept while there is room.
    first = found.next
    assert found.id != name or first > max(after, default=-1)
    found.put(REP, packed_rep(0, 0x77))
    for _ in range(4):
        found.service(at_rest=True)
    assert (REP, packed_rep(0, 0x77)) in records(found).values()


def test_a_block_whose_marker_is_spoilt_keeps_its_records():
    flash = ModelFlash(6, 5)
    kept = prepared(flash, 14)
    before = records(kept)
    newest = (kept.next - 1) // 4 % 6
    for block in (newest, (newest - 1) % 6):
        flash.data[block][20] ^= 0x40
    found = journal.Journal(flash)
    assert records(found) == before
    assert (found.id, found.next) == (kept.id, kept.next)
    assert found.torn == 2


def test_what_another_journal_could_not_write_is_taken_over():
    flash = ModelFlash(4, 5)
    kept = prepared(flash, 3)
    kept.put(REP, packed_rep(99))
    kept.lost, kept.torn = 5, 2
    other = journal.Journal(ModelFlash(4, 5, seed=9))
    other.go_on_from(kept)
    other.service(at_rest=True)
    assert (REP, packed_rep(99)) in records(other).values()
    assert (other.boot, other.lost, other.torn) == (kept.boot, 5, 2)
    assert other.id != kept.id
