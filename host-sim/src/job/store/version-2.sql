-- A seal over each entry and the seal before it: what was changed from outside, or by a failing disk, is noticed.
CREATE TABLE seal (
    id INTEGER PRIMARY KEY REFERENCES entry (id),
    sha256 TEXT NOT NULL
) STRICT;
CREATE TRIGGER seal_is_not_changed BEFORE UPDATE ON seal
BEGIN
    SELECT raise(ABORT, 'a seal is never changed');
END;
CREATE TRIGGER seal_is_not_taken_away BEFORE DELETE ON seal
BEGIN
    SELECT raise(ABORT, 'a seal is never taken away');
END;
