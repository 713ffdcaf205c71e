"""The tables that lists and look-ups read; `listing` says what follows into them."""

from __future__ import annotations

from . import movements

TABLES = (
    (
        "CREATE TABLE job (began INTEGER NOT NULL PRIMARY KEY, id TEXT NOT NULL UNIQUE, closed INTEGER,"
        " state TEXT NOT NULL, because TEXT NOT NULL, name TEXT NOT NULL, description TEXT NOT NULL,"
        " plate TEXT NOT NULL, words TEXT NOT NULL, customer TEXT NOT NULL, approved INTEGER NOT NULL,"
        " paid INTEGER NOT NULL, number TEXT NOT NULL, books_entry TEXT NOT NULL, who TEXT NOT NULL,"
        " phone TEXT NOT NULL, email TEXT NOT NULL, address TEXT NOT NULL, day TEXT NOT NULL,"
        " at TEXT NOT NULL, place TEXT NOT NULL, what TEXT NOT NULL, recall TEXT NOT NULL,"
        " recall_what TEXT NOT NULL, asked INTEGER NOT NULL, granted INTEGER NOT NULL,"
        " in_part INTEGER NOT NULL) STRICT"
    ),
    "CREATE INDEX job_of_day ON job (day, at) WHERE day <> ''",
    "CREATE INDEX job_of_recall ON job (recall) WHERE recall <> ''",
    "CREATE INDEX job_waiting ON job (began) WHERE because = 'part missing'",
    "CREATE INDEX job_open ON job (began) WHERE closed IS NULL",
    "CREATE INDEX job_closed ON job (closed) WHERE closed IS NOT NULL",
    "CREATE INDEX job_of_customer ON job (customer, approved, books_entry) WHERE customer <> ''",
    "CREATE INDEX job_of_books_entry ON job (books_entry) WHERE books_entry <> ''",
    (
        "CREATE TABLE job_name (job TEXT NOT NULL, place INTEGER NOT NULL, name TEXT NOT NULL,"
        " UNIQUE (job, place)) STRICT"
    ),
    "CREATE INDEX job_of_name ON job_name (name, job)",
    (
        "CREATE TABLE job_word (word TEXT NOT NULL, job TEXT NOT NULL, began INTEGER NOT NULL,"
        " kind TEXT NOT NULL, UNIQUE (word, began, kind)) STRICT"
    ),
    "CREATE INDEX job_word_of_job ON job_word (job)",
    (
        "CREATE TABLE invoice (written INTEGER NOT NULL PRIMARY KEY, entry TEXT NOT NULL UNIQUE,"
        " number TEXT NOT NULL, document_id TEXT NOT NULL, total INTEGER NOT NULL, currency TEXT NOT NULL,"
        " waits INTEGER NOT NULL, day TEXT NOT NULL, due_on TEXT NOT NULL, owed INTEGER NOT NULL) STRICT"
    ),
    "CREATE INDEX job_with_deposit ON job (began) WHERE books_entry = '' AND paid <> 0",
    "CREATE INDEX invoice_overpaid ON invoice (written) WHERE owed < 0",
    "CREATE INDEX invoice_owed ON invoice (due_on, written) WHERE owed > 0",
    "CREATE INDEX invoice_of_document ON invoice (document_id)",
    "CREATE INDEX invoice_waiting ON invoice (written) WHERE waits = 1",
    *movements.TABLES,
)
