"""The hub's tables on PostgreSQL: the same entries and persons as a van's store, and what lists follow from
them.

`entry` has the columns of a van's table of that name, and `arrived`, which counts entries up as they come:
one that names another always came later. `person` holds what is encrypted with a key that lies outside the
database. Everything from `job` on is derived, and can be derived again.
"""

from __future__ import annotations

from typing import LiteralString

#: Each step from a schema to the next; a hub's schema is the number of steps it has taken.
STEPS: tuple[tuple[LiteralString, ...], ...] = (
    (
        "CREATE TABLE meta (key text PRIMARY KEY, value text NOT NULL)",
        (
            "CREATE TABLE device (letters text PRIMARY KEY, name text NOT NULL, public_key text NOT NULL,"
            " enrolled text NOT NULL, revoked text NOT NULL DEFAULT '', successor text NOT NULL DEFAULT '',"
            " synced text NOT NULL DEFAULT '')"
        ),
        (
            "CREATE TABLE invitation (code_hash text PRIMARY KEY, name text NOT NULL, instead_of text NOT"
            " NULL, expires timestamptz NOT NULL)"
        ),
        (
            "CREATE TABLE person_in_charge (name text PRIMARY KEY, role text NOT NULL, device text NOT NULL,"
            " passcode text NOT NULL)"
        ),
        (
            "CREATE TABLE chain (name text PRIMARY KEY, device text NOT NULL REFERENCES device, journal text"
            " NOT NULL, head text NOT NULL, n integer NOT NULL, place integer NOT NULL)"
        ),
        (
            "CREATE TABLE entry (arrived bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY, id text NOT NULL"
            " UNIQUE, journal text NOT NULL, job text NOT NULL, chain text NOT NULL REFERENCES chain,"
            " n integer NOT NULL, prev text NOT NULL, seen text NOT NULL, taken text NOT"
            " NULL, recorded text NOT NULL, kind text NOT NULL, subject text NOT NULL, body text NOT NULL,"
            " replaces text NOT NULL, reason text NOT NULL, place integer, UNIQUE (chain, n), UNIQUE (chain,"
            " place))"
        ),
        "CREATE INDEX entry_of_job ON entry (job, chain, n)",
        "CREATE UNIQUE INDEX invoice_of_number ON entry (subject) WHERE kind = 'invoice'",
        (
            "CREATE TABLE person (hash text PRIMARY KEY, job text NOT NULL, kind text NOT NULL, sealed bytea"
            " NOT NULL)"
        ),
        "CREATE INDEX person_of_job ON person (job)",
        "CREATE TABLE prices (version text PRIMARY KEY, text text NOT NULL, since timestamptz NOT NULL)",
        (
            "CREATE TABLE job (began bigint NOT NULL, id text PRIMARY KEY, closed bigint, state text NOT"
            " NULL, because text NOT NULL, name text NOT NULL, description text NOT NULL, plate text NOT"
            " NULL, words text NOT NULL, customer text NOT NULL, approved integer NOT NULL, paid bigint NOT"
            " NULL, number text NOT NULL, books_entry text NOT NULL, who text NOT NULL, phone text NOT NULL,"
            " email text NOT NULL, address text NOT NULL, day text NOT NULL, at text NOT NULL, place text NOT"
            " NULL, what text NOT NULL, recall text NOT NULL, recall_what text NOT NULL, asked bigint NOT"
            " NULL, granted bigint NOT NULL, in_part integer NOT NULL, device text NOT NULL, disputes integer"
            " NOT NULL)"
        ),
        "CREATE INDEX job_began ON job (began) WHERE closed IS NULL",
        "CREATE INDEX job_closed ON job (closed) WHERE closed IS NOT NULL",
        "CREATE INDEX job_of_day ON job (day, at) WHERE day <> ''",
        "CREATE INDEX job_of_books_entry ON job (books_entry) WHERE books_entry <> ''",
        "CREATE INDEX job_disputed ON job (began) WHERE disputes > 0",
        "CREATE TABLE job_device (job text NOT NULL, device text NOT NULL, PRIMARY KEY (job, device))",
        "CREATE INDEX job_of_device ON job_device (device, job)",
        "CREATE TABLE job_word (word bytea NOT NULL, job text NOT NULL, PRIMARY KEY (word, job))",
        "CREATE INDEX job_word_of_job ON job_word (job)",
        (
            "CREATE TABLE invoice (written bigint NOT NULL, entry text PRIMARY KEY, number text NOT NULL,"
            " document_id text NOT NULL, total bigint NOT NULL, currency text NOT NULL, day text NOT NULL,"
            " due_on text NOT NULL, owed bigint NOT NULL, job text NOT NULL, device text NOT NULL)"
        ),
        "CREATE INDEX invoice_owed ON invoice (due_on, written) WHERE owed > 0",
        "CREATE INDEX invoice_written ON invoice (written)",
    ),
    # The newest of the jobs that have a word, where most of them have it.
    ("CREATE INDEX job_of_all_began ON job (began)",),
    # Who is signed in to the office, so that signing out ends it; when a passcode was drawn by the hub.
    (
        "ALTER TABLE person_in_charge ADD COLUMN drawn bigint NOT NULL DEFAULT 0",
        (
            "CREATE TABLE office_session (mark text PRIMARY KEY, person text NOT NULL REFERENCES"
            " person_in_charge ON DELETE CASCADE, since bigint NOT NULL, used bigint NOT NULL)"
        ),
        "CREATE INDEX office_session_of_person ON office_session (person)",
    ),
)
