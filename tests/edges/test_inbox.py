"""The inbox: what readers ask for arrives once, in order, and nothing that lies there can stop the service."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest

from monitor.edges.inbox import MAX_BYTES, MOST, Inbox, inbox_path, put
from monitor.errors import LogError

pytestmark = pytest.mark.live


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "run.so2log"


def slip_in(log: Path, request_id: object, asked: object, kind: object, who: object, args: object) -> None:
    """Lay anything into the inbox, as another program might."""
    with closing(sqlite3.connect(inbox_path(log))) as db, db:
        db.execute(
            "INSERT INTO request (request_id, asked_utc_s, kind, who, args) "
            "VALUES (CAST(? AS TEXT), ?, CAST(? AS TEXT), CAST(? AS TEXT), CAST(? AS TEXT))",
            (request_id, asked, kind, who, args),
        )


def test_what_is_put_in_is_taken_out_once(log: Path) -> None:
    """Requests come out in the order in which they were put in, as they were, and once."""
    inbox = Inbox(log)
    ids = [put(log, "note", "Ada", {"text": f"Grüße {n}"}, 1000.0 + n) for n in range(5)]
    got = inbox.take()
    assert [a.request_id for a in got] == ids
    assert [(a.asked_utc_s, a.kind, a.who, dict(a.args)) for a in got] == [
        (1000.0 + n, "note", "Ada", {"text": f"Grüße {n}"}) for n in range(5)
    ]
    assert inbox.take() == []
    inbox.close()


def test_no_watcher_no_inbox(log: Path) -> None:
    """Where nothing watches, asking is refused with the reason, before a service and after it."""
    with pytest.raises(LogError, match="nothing is watching it"):
        put(log, "stop", "Ada", {}, 0.0)
    Inbox(log).close()
    with pytest.raises(LogError, match="nothing is watching it"):
        put(log, "stop", "Ada", {}, 0.0)
    assert not inbox_path(log).exists()


def test_a_new_service_finds_nothing_old(log: Path) -> None:
    """What was asked of a service that died is not carried out by the next one."""
    dead = Inbox(log)
    put(log, "permit", "Ada", {"on": True}, 0.0)
    del dead
    inbox = Inbox(log)
    assert inbox.take() == []
    inbox.close()


def test_a_flood_is_taken_in_portions(log: Path) -> None:
    """More requests than are taken at once come the next time, none lost and none twice."""
    inbox = Inbox(log)
    count = 2 * MOST + 7
    with closing(sqlite3.connect(inbox_path(log))) as db, db:
        db.executemany(
            "INSERT INTO request (request_id, asked_utc_s, kind, who, args) VALUES (?, 0.0, 'stop', 'Ada', '{}')",
            [(str(n),) for n in range(count)],
        )
    portions = [inbox.take() for _ in range(4)]
    assert [len(p) for p in portions] == [MOST, MOST, 7, 0]
    assert [a.request_id for p in portions for a in p] == [str(n) for n in range(count)]
    inbox.close()


@pytest.mark.parametrize(
    "args", ["", "[1, 2]", "{", "null", "5", "\x00", "[" * 100_000, '{"a": ' * 50_000], ids=lambda a: str(a)[:6]
)
def test_arguments_that_are_no_object(log: Path, args: str) -> None:
    """Arguments that are no JSON object come out as none; what is asked is then refused for what it lacks."""
    inbox = Inbox(log)
    slip_in(log, "r", 0.0, "note", "Ada", args)
    (got,) = inbox.take()
    assert dict(got.args) == {}
    inbox.close()


def test_bytes_that_are_no_text(log: Path) -> None:
    """Bytes that are no UTF-8 come out as text all the same, and an endless number is cut."""
    inbox = Inbox(log)
    slip_in(log, b"\xff\xfe" + b"x" * 500, float("inf"), b"\xff", b"\xc3", b"\xff{}")
    (got,) = inbox.take()
    assert len(got.request_id) == 80
    for text in (got.request_id, got.kind, got.who):
        text.encode()
    inbox.close()


def test_a_request_too_long_or_no_text_is_refused_at_the_door(log: Path) -> None:
    """What is too long, or holds half a character, is refused to the one who asks."""
    inbox = Inbox(log)
    with pytest.raises(LogError, match=f"wanted at most {MAX_BYTES}"):
        put(log, "note", "Ada", {"text": "x" * MAX_BYTES}, 0.0)
    with pytest.raises(LogError, match="could not be put in"):
        put(log, "note", "Ada", {"text": "\ud800"}, 0.0)
    with pytest.raises(LogError, match="could not be put in"):
        put(log, "note", "\ud800", {}, 0.0)
    assert inbox.take() == []
    inbox.close()


def test_500_signs_of_any_script_fit(log: Path) -> None:
    """The longest text that a request may hold fits, also in signs of four bytes."""
    inbox = Inbox(log)
    put(log, "note", "Ada", {"text": "𝛼" * 500}, 0.0)
    (got,) = inbox.take()
    assert got.args["text"] == "𝛼" * 500
    assert len(json.dumps(dict(got.args), ensure_ascii=False).encode()) <= MAX_BYTES
    inbox.close()


def test_an_inbox_that_cannot_be_emptied_gives_nothing(log: Path) -> None:
    """While somebody else holds the inbox, nothing is taken, and afterwards all of it, once."""
    inbox = Inbox(log)
    inbox._db.execute("PRAGMA busy_timeout=20")
    put(log, "stop", "Ada", {}, 0.0)
    with closing(sqlite3.connect(inbox_path(log), isolation_level=None)) as holder:
        holder.execute("BEGIN IMMEDIATE")
        assert inbox.take() == []
        holder.execute("ROLLBACK")
    assert len(inbox.take()) == 1
    assert inbox.take() == []
    inbox.close()


def test_an_inbox_that_cannot_be_made_says_why(log: Path) -> None:
    """A path that is taken by a folder is refused in a sentence."""
    inbox_path(log).mkdir()
    with pytest.raises(LogError, match="cannot be made"):
        Inbox(log)


def test_many_ask_at_once(log: Path) -> None:
    """Requests of several programs at once all arrive, each once."""
    inbox = Inbox(log)
    asked: list[str] = []
    taken: list[str] = []

    def ask() -> None:
        for n in range(15):
            asked.append(put(log, "note", "Ada", {"text": str(n)}, 0.0))

    threads = [threading.Thread(target=ask) for _ in range(3)]
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        taken += [a.request_id for a in inbox.take()]
    taken += [a.request_id for a in inbox.take()]
    inbox.close()
    assert sorted(taken) == sorted(asked)
    assert len(taken) == 45


KILLED = """
import os, sqlite3, sys
db = sqlite3.connect(sys.argv[1], isolation_level=None)
db.execute("PRAGMA cache_size=2")
db.execute("BEGIN IMMEDIATE")
db.execute("UPDATE request SET who = 'Bob' || who")
os._exit(9)
"""


def test_what_a_killed_page_left_half_done(log: Path) -> None:
    """The journal of a page that died as it asked belongs to the old inbox, and is not put into the next one."""
    dead = Inbox(log)
    for _ in range(200):
        put(log, "note", "Ada", {"text": "x" * 400}, 0.0)
    subprocess.run([sys.executable, "-c", KILLED, str(inbox_path(log))], check=False)
    journal = log.with_name("run.so2log.inbox-journal")
    assert journal.stat().st_size > 100_000
    dead._db.close()
    inbox = Inbox(log)
    assert not journal.exists()
    number = put(log, "note", "Ada", {"text": "new"}, 0.0)
    assert [a.request_id for a in inbox.take()] == [number]
    inbox.close()


def test_an_inbox_that_cannot_be_taken_away(log: Path) -> None:
    """Closing ends nothing else when the file cannot be taken away."""
    inbox = Inbox(log)
    inbox_path(log).unlink()
    inbox_path(log).mkdir()
    inbox.close()
    assert inbox_path(log).is_dir()
