"""The run's inbox: a second small file in which those who only read the log may ask for something.

The page (or any other reader) puts a request in; the service takes it out, and the log holds the answer. A request
older than `STALE_S` when the service sees it is refused unread: a service that was down must not do old things.
"""

from __future__ import annotations

import json
import sqlite3
import uuid
from collections.abc import Mapping
from contextlib import closing, suppress
from pathlib import Path
from typing import NamedTuple

from monitor.errors import LogError

STALE_S = 30.0
MOST = 100  # requests taken at once; the rest wait for the next look
MAX_BYTES = 4000  # of one request's arguments

_TABLE = """CREATE TABLE IF NOT EXISTS request (
    id INTEGER PRIMARY KEY, request_id TEXT NOT NULL UNIQUE, asked_utc_s REAL NOT NULL,
    kind TEXT NOT NULL, who TEXT NOT NULL, args TEXT NOT NULL
) STRICT"""


class Asked(NamedTuple):
    """A request as it lay in the inbox; nothing in it is checked yet."""

    request_id: str
    asked_utc_s: float
    kind: str
    who: str
    args: Mapping[str, object]


def inbox_path(log: Path) -> Path:
    """Where a run log's inbox is."""
    return log.with_name(log.name + ".inbox")


def _open(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, isolation_level=None, timeout=2.0, check_same_thread=False)
    db.text_factory = lambda raw: raw.decode("utf-8", "replace")  # what lies there may be anything
    return db


def put(log: Path, kind: str, who: str, args: Mapping[str, object], utc_s: float) -> str:
    """Ask for something; gives the id under which the log will hold the answer.

    Raises:
        LogError: the inbox is not there or cannot be written, or the request is too long or no text.
    """
    path = inbox_path(log)
    if not path.exists():
        raise LogError(f"{log} takes no requests: nothing is watching it")
    request_id = uuid.uuid4().hex
    text = json.dumps(dict(args), ensure_ascii=False)
    size = len(text.encode("utf-8", "surrogatepass"))
    if size > MAX_BYTES:
        raise LogError(f"the request is too long: found {size} bytes, wanted at most {MAX_BYTES}")
    try:
        with closing(_open(path)) as db:
            db.execute("BEGIN IMMEDIATE")
            db.execute(
                "INSERT INTO request (request_id, asked_utc_s, kind, who, args) VALUES (?, ?, ?, ?, ?)",
                (request_id, utc_s, kind, who, text),
            )
            db.execute("COMMIT")
    except (sqlite3.Error, UnicodeEncodeError) as why:
        raise LogError(f"the request could not be put in: {why}") from why
    return request_id


class Inbox:
    """The service's end. Made anew for each service, so nothing asked of an earlier one is left in it."""

    def __init__(self, log: Path) -> None:
        path = inbox_path(log)
        try:
            # Made beside its place and moved there whole: who sees an inbox can put something in.
            fresh = path.with_name(path.name + ".new")
            fresh.unlink(missing_ok=True)
            with closing(_open(fresh)) as db:
                db.execute(_TABLE)
            # What a page that was killed left half done belongs to the old inbox, and would be put into the new one.
            path.with_name(path.name + "-journal").unlink(missing_ok=True)
            fresh.replace(path)
            self._db = _open(path)
        except (sqlite3.Error, OSError) as why:
            raise LogError(f"{path} cannot be made: {why}") from why
        self._path = path
        self._version = -1

    def take(self) -> list[Asked]:
        """Take out what lies there, oldest first. What is no JSON object comes with empty arguments.

        An inbox that cannot be read or emptied now (somebody holds it, the disk is full) gives nothing, and is
        looked at again the next time: no request is carried out that might be found there once more.
        """
        try:
            version = self._db.execute("PRAGMA data_version").fetchone()[0]
            if version == self._version:
                return []
            rows = self._db.execute(
                "SELECT id, substr(request_id, 1, 80), asked_utc_s, kind, who, args FROM request ORDER BY id LIMIT ?",
                (MOST,),
            ).fetchall()
            if rows:
                self._db.execute("DELETE FROM request WHERE id <= ?", (rows[-1][0],))
        except sqlite3.Error:
            return []
        if len(rows) < MOST:
            self._version = version
        return [Asked(rid, asked, kind, who, _object(args)) for _, rid, asked, kind, who, args in rows]

    def close(self) -> None:
        """Take the inbox away: nobody watches. What cannot be taken away is stale to the next service."""
        self._db.close()
        with suppress(OSError):
            self._path.unlink(missing_ok=True)


def _object(text: str) -> Mapping[str, object]:
    try:
        got = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    return got if isinstance(got, dict) else {}
