"""`so2bench try-message`: one trial message by every service of `[notify]`, and what became of each."""

from __future__ import annotations

import asyncio
from pathlib import Path

from monitor.errors import RefusalError
from monitor.messenger.letters import trial
from monitor.messenger.targets import targets_of
from monitor.settings import load_bench


def try_message(path: Path) -> None:
    """Send it to all at once and say how it went.

    Raises:
        RefusalError: the file names no services, or one of them did not take the message.
    """
    bench, _ = load_bench(path)
    if bench.notify is None:
        raise RefusalError(f"{path.name}: found no [notify], wanted is that table with urls_env in it")
    targets = targets_of(bench.notify.urls_env)

    async def send() -> list[str | None]:
        return await asyncio.gather(*(target.deliver(trial(bench.name)) for target in targets))

    failed = []
    for target, reason in zip(targets, asyncio.run(send()), strict=True):
        if reason is None:
            print(f"{target.name} took the message: look whether it arrived")
        else:
            failed.append(reason)
    if failed:
        raise RefusalError("\n".join(failed))
