-- Entries are added, and never changed or taken away. What changed is a later entry, `of` the earlier one, with its
-- reason. Numbers have no holes.
CREATE TABLE entry (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    at TEXT NOT NULL,
    by TEXT NOT NULL,
    kind TEXT NOT NULL,
    of INTEGER REFERENCES entry (id),
    reason TEXT NOT NULL,
    body TEXT NOT NULL CHECK (json_valid(body)),
    CHECK ((of IS NULL) = (reason = '')),
    CHECK (of IS NULL OR of < id)
) STRICT;
CREATE TRIGGER entry_is_not_changed BEFORE UPDATE ON entry
BEGIN
    SELECT raise(ABORT, 'an entry is never changed: add a correction');
END;
CREATE TRIGGER entry_is_not_taken_away BEFORE DELETE ON entry
BEGIN
    SELECT raise(ABORT, 'an entry is never taken away: add a withdrawal');
END;
