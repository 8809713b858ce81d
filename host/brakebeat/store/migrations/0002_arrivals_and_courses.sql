-- Which record of which board's journal a rep came from: so that none is taken twice, whoever brings it.
CREATE TABLE arrival (
    journal_id INTEGER NOT NULL,
    sequence INTEGER NOT NULL,
    set_id INTEGER NOT NULL REFERENCES work_set,
    rep_index INTEGER NOT NULL,
    PRIMARY KEY (journal_id, sequence)
) STRICT, WITHOUT ROWID;
CREATE INDEX arrival_by_set ON arrival (set_id);

-- Curves worked out of raw edges, kept since that takes seconds. Nothing is lost with them: they are made anew
-- where made_of (edges, rig and program version) is another one.
CREATE TABLE course (
    computation_id INTEGER PRIMARY KEY REFERENCES computation,
    made_of TEXT NOT NULL,
    packed BLOB NOT NULL
) STRICT;
