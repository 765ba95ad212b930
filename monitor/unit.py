"""`so2bench unit`: a systemd unit that watches one run from boot, and takes it up again when the monitor dies.

The unit names the run's log, so whatever happens the same run is gone on with; a run that a person has ended is not
begun anew, since its log is closed.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from monitor.edges.logreader import LogReader
from monitor.errors import RefusalError
from monitor.settings import load_bench, load_run

WATCHDOG_S = 15  # the monitor speaks each second
_ACCOUNT = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.@-]{0,63}\$?")  # what an account's name may be made of
SPARE_S = 30  # for the last messages to people, and for what the disk has not taken yet

_UNIT = """\
# Watches the bench {name} from boot. Put it into /etc/systemd/system/so2bench-{name}.service, then
#   systemctl daemon-reload && systemctl enable --now so2bench-{name}
# and see how it does with: systemctl status so2bench-{name}
[Unit]
Description=so2bench: watches the bench {name}
After=network.target time-sync.target
StartLimitIntervalSec=600
StartLimitBurst=30

[Service]
Type=notify
NotifyAccess=main
User={user}
SupplementaryGroups=dialout
WorkingDirectory={folder}
# Passwords, one NAME=VALUE a line, readable by root alone (mode 0600). Nothing of it stands in this unit.
EnvironmentFile=-/etc/so2bench/{name}.env
ExecStart={python} -m monitor watch --bench {bench} --run {run} --log {log}{page}
Restart=on-failure
RestartSec=2
WatchdogSec={watchdog}
TimeoutStartSec=600
TimeoutStopSec={spare}
# It needs its folder, its port and the network, and nothing else of the machine.
NoNewPrivileges=yes
ProtectSystem=strict
ProtectHome=read-only
ReadWritePaths={folder} {log_folder}
PrivateTmp=yes
ProtectKernelTunables=yes
ProtectControlGroups=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6 AF_NETLINK

[Install]
WantedBy=multi-user.target
"""


def unit(bench_path: Path, run_path: Path, log: Path, user: str, dashboard: bool) -> str:
    """The unit's text. Paths are made absolute, since the unit is started from elsewhere.

    Raises:
        RefusalError: a file is not as it must be, or a path cannot stand in a unit.
    """
    bench, _ = load_bench(bench_path)
    load_run(run_path)
    if not _ACCOUNT.fullmatch(user):
        raise RefusalError(f"--user: found {user!r}, wanted the name or number of an account")
    if log.exists():
        LogReader(log)
    elif not log.resolve().parent.is_dir():
        raise RefusalError(f"--log: found no folder {log.resolve().parent}, wanted one where the log can be")
    paths = [path.resolve() for path in (bench_path, run_path, log)]
    for path in (*paths, Path(sys.executable)):
        if any(c.isspace() or c in "\"'%\\$" for c in str(path)):
            raise RefusalError(f"found {path}, wanted a path without blanks, quotes, %, $ and \\, for the unit")
    return _UNIT.format(
        name=bench.name,
        user=user,
        folder=paths[0].parent,
        log_folder=paths[2].parent,
        python=sys.executable,
        bench=paths[0],
        run=paths[1],
        log=paths[2],
        page="" if dashboard else " --no-dashboard",
        watchdog=WATCHDOG_S,
        spare=SPARE_S,
    )
