"""Accounts, who is signed in, wrong passwords of late, and what applies to all sign-ins."""

from damagescore.records.migrations.statements import run

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Make the tables; times ending in _s are seconds since 1970, UTC."""
    run("""
CREATE TABLE account (
    id TEXT PRIMARY KEY, name TEXT NOT NULL, name_key TEXT NOT NULL UNIQUE,
    role TEXT NOT NULL, email TEXT UNIQUE, password_hash TEXT NOT NULL,
    disabled BOOLEAN NOT NULL, made_at TEXT NOT NULL)

CREATE TABLE sign_in (
    token_sha256 TEXT PRIMARY KEY, account_id TEXT NOT NULL,
    seen_s DOUBLE PRECISION NOT NULL, ends_s DOUBLE PRECISION NOT NULL)

CREATE INDEX sign_in_by_account ON sign_in (account_id)

CREATE TABLE wrong_password (
    name_sha256 TEXT PRIMARY KEY, count INTEGER NOT NULL,
    last_s DOUBLE PRECISION NOT NULL, until_s DOUBLE PRECISION NOT NULL)

CREATE TABLE sign_in_rule (name TEXT PRIMARY KEY, value TEXT NOT NULL)
""")
