"""The options of `doctor`, `unit` and `try-message`: about a set-up and not about a run. Loaded when one is run."""

from __future__ import annotations

import argparse
import getpass
from pathlib import Path

from monitor.errors import RefusalError


def add_setup(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the three to the command line."""
    p = commands.add_parser(
        "doctor", help="what is wrong with a set-up: files, disk, clock, board, broker, messages, page"
    )
    _bench(p)
    p.add_argument("--run", type=Path, help="run.toml, if it is to be looked at too")
    p.add_argument("--port", help="the serial port, instead of the one in bench.toml")
    p.add_argument("--folder", type=Path, default=Path(), help="where run logs go (default: this folder)")
    p.set_defaults(do=_doctor)

    p = commands.add_parser("unit", help="a systemd unit that watches a run from boot and takes it up again")
    _bench(p)
    p.add_argument("--run", type=Path, required=True, help="run.toml: this generation")
    p.add_argument("--log", type=Path, required=True, help="the run's log: a new file, or the run to go on with")
    p.add_argument("--user", help="the account that watches (default: yours)")
    p.add_argument("--no-dashboard", action="store_true", help="no page")
    p.set_defaults(do=_unit)

    p = commands.add_parser("try-message", help="send a trial message to everybody whom the alarms would reach")
    _bench(p)
    p.set_defaults(do=_try_message)


def _bench(p: argparse.ArgumentParser) -> None:
    p.add_argument("--bench", type=Path, required=True, help="bench.toml: the apparatus")


def _doctor(a: argparse.Namespace) -> None:
    from monitor.doctor import doctor

    doctor(a.bench, a.run, a.port, a.folder)


def _unit(a: argparse.Namespace) -> None:
    from monitor.unit import unit

    print(unit(a.bench, a.run, a.log, a.user or _own_account(), not a.no_dashboard), end="")


def _own_account() -> str:
    """The name of this account; in a container it may have none."""
    try:
        return getpass.getuser()
    except (KeyError, OSError) as why:
        raise RefusalError("this account has no name here; --user says which account is to watch") from why


def _try_message(a: argparse.Namespace) -> None:
    from monitor.trymessage import try_message

    try_message(a.bench)
