"""The command `so2bench benches`: hears every bench on a broker, and shows them on a page or as a table."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import os
import tempfile
from collections.abc import Coroutine
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.ending import ending_signals
from monitor.errors import RefusalError
from monitor.pageoptions import add_page, for_whom

if TYPE_CHECKING:
    from monitor.bencheslive import Listening

DEMO_BENCHES, DEMO_MAX = 30, 2000
SETTLE_S = 3.0  # what the broker keeps comes within this; `--once` waits for it
MEMORY = Path("/dev/shm")


def add_benches(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `benches` to the command line."""
    p = commands.add_parser("benches", help="every bench on an MQTT broker at a glance, worst first")
    source = p.add_mutually_exclusive_group(required=True)
    source.add_argument("--broker", metavar="URL", help='like "mqtts://reader@broker.lab:8883", without a password')
    source.add_argument(
        "--demo",
        type=_how_many,
        nargs="?",
        const=DEMO_BENCHES,
        metavar="N",
        help=f"so many invented benches (default {DEMO_BENCHES}); no broker is needed",
    )
    p.add_argument("--password-env", metavar="NAME", help="the environment variable that holds the broker's password")
    p.add_argument("--ca-file", metavar="FILE", help="the authority that signed the broker's certificate, PEM")
    add_page(p)
    p.add_argument("--plain", action="store_true", help="no page: a table here whenever something changes")
    p.add_argument("--once", action="store_true", help=f"no page: one table here, after {SETTLE_S:g} s")
    p.set_defaults(do=_benches)


def _how_many(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= DEMO_MAX:
        raise argparse.ArgumentTypeError(f"found {text}, wanted a number from 1 to {DEMO_MAX}")
    return int(text)


def _benches(a: argparse.Namespace) -> None:
    from monitor.bencheslive import Listening, to_stderr
    from monitor.edges.mqtt_broker import Named, broker_of
    from monitor.terms import MqttTerms

    broker = None
    if a.broker is not None:
        named = Named("--broker", "--password-env", "--ca-file")
        broker = broker_of(MqttTerms(a.broker, a.password_env, a.ca_file), named=named)
    elif a.password_env is not None or a.ca_file is not None:
        raise RefusalError("--demo: found --password-env or --ca-file beside it; invented benches need no broker")
    if a.once:
        asyncio.run(_once(Listening(broker, a.demo or 0, say=lambda _: None)))
        return
    listening = Listening(broker, a.demo or 0, to_stderr)
    if a.plain:
        asyncio.run(_until_told(listening.run(), listening.keep_printing()))
    else:
        _with_page(a, listening)


async def _once(listening: Listening) -> None:
    task = asyncio.create_task(listening.run())
    await asyncio.sleep(SETTLE_S)
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task
    broker = listening.picture().whole.broker
    if broker is not None and not broker.connected:
        raise RefusalError(broker.text)
    print("\n".join(listening.table()))


def _with_page(a: argparse.Namespace, listening: Listening) -> None:
    from monitor.bencheslive import to_stderr
    from monitor.edges.page import BenchesPage, reach_of
    from monitor.pagewatch import keep_page

    # In memory, where the system has such a place: the list is written anew each second.
    within = MEMORY if os.access(MEMORY, os.W_OK) else None
    with tempfile.TemporaryDirectory(prefix="so2bench-benches-", dir=within) as folder:
        secrets = () if a.password_env is None else (a.password_env,)
        page = BenchesPage(Path(folder), a.page_port, secrets, reach_of(a.page_host))
        try:
            print(f"page: {page.url}   ({for_whom(a.page_host)}; Ctrl-C ends it)", flush=True)
            asyncio.run(_until_told(listening.run(), listening.keep_shown(Path(folder)), keep_page(page, to_stderr)))
        finally:
            page.close()


async def _until_told(*works: Coroutine[Any, Any, None]) -> None:
    """Do these side by side until the program is told to end, or one of them fails."""
    told = asyncio.Event()
    for number in ending_signals():
        asyncio.get_running_loop().add_signal_handler(number, told.set)
    async with asyncio.TaskGroup() as group:
        tasks = [group.create_task(work) for work in works]
        await told.wait()
        for task in tasks:
            task.cancel()
