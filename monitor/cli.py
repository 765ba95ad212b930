"""The command line: `so2bench` and its commands, one function each; the larger ones have modules of their own.

Exit status: 0 done, 1 refused with a reason on standard error, 2 wrong usage, 130 ended by Ctrl-C before it was done.
"""

from __future__ import annotations

import argparse
import asyncio
import io
import json
import signal
import sys
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, get_args

from monitor import aftercare, askrun, benchescli, memorycli, options, plancli, setup_options
from monitor.ending import ending_signals
from monitor.errors import RefusalError
from monitor.pageoptions import add_page, for_whom
from monitor.terms import Meter, Route, secret_names

CAUTION = (
    "An aid for a careful person, not a certified gas detector or safety system. SO2 is toxic, the acids burn: hood, "
    "goggles, gloves; local rules and licensed practice come first."
)
INTERRUPTED = 130  # 128 and the number of SIGINT, as shells have it
NAME_SHOWN = 100  # characters of a file's name in a sentence


def build_parser() -> argparse.ArgumentParser:
    """The whole command line."""
    parser = argparse.ArgumentParser(
        prog="so2bench",
        description="Watch a small sulfur dioxide generator: how much gas was made, how much is held, "
        "how much has gone over, and what is wrong.",
        epilog=CAUTION,
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    p = commands.add_parser("demo", help="a simulated bench with the monitor and the page; nothing else is needed")
    p.add_argument(
        "--speed",
        type=_speed,
        default=1.0,
        help="how much faster than real time (1 to 10; default 1); at 10, a machine busy for 0.3 s loses its board",
    )
    p.add_argument("--route", choices=get_args(Route), default="acid-drip", help="which story (default acid-drip)")
    p.add_argument("--meter", choices=get_args(Meter), help="what meters the gas (default: the story's own)")
    p.add_argument("--firmware", action="store_true", help="run the real firmware image in its simulator")
    p.add_argument("--log", type=Path, help="where to keep the run log (default: a new file in this folder)")
    add_page(p)
    p.add_argument("--no-dashboard", action="store_true", help="plain lines only, no page")
    p.set_defaults(do=_demo)

    p = commands.add_parser("plan", help="what a run will make, hold and deliver, in drops, and its cautions")
    plancli.add_arguments(p)

    p = commands.add_parser("watch", help="a live run")
    p.add_argument("--bench", type=Path, required=True, help="bench.toml: the apparatus")
    p.add_argument("--run", type=Path, required=True, help="run.toml: this generation")
    p.add_argument("--port", help="the serial port, instead of the one in bench.toml")
    p.add_argument("--log", type=Path, help="the run log: a new file, or an unfinished run to take up again")
    add_page(p)
    p.add_argument("--no-dashboard", action="store_true", help="plain lines only, no page")
    p.set_defaults(do=_watch)

    p = commands.add_parser("replay", help="the same computation from a recording")
    p.add_argument("recording", type=Path, metavar="RECORDING", help='a run log, or text lines "SECONDS FRAME"')
    p.add_argument("--bench", type=Path, required=True, help="bench.toml: the apparatus")
    p.add_argument("--run", type=Path, required=True, help="run.toml: the generation")
    p.add_argument("--json", action="store_true", help="print JSON alone")
    p.set_defaults(do=_replay)

    options.add_check(commands)
    askrun.add_ask(commands)
    options.add_calibrate(commands)
    benchescli.add_benches(commands)
    aftercare.add_aftercare(commands)
    memorycli.add_memory(commands)
    setup_options.add_setup(commands)
    return parser


def _speed(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 1.0 <= value <= 10.0:
        raise argparse.ArgumentTypeError(f"found {text}, wanted a number from 1 to 10")
    return value


def main(argv: list[str] | None = None) -> int:
    """Run a command; gives the exit status."""
    for stream in (sys.stdin, sys.stdout):  # a terminal that lacks µ or →, or sends what is no text, ends no run
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        arguments = build_parser().parse_args(argv)
        arguments.do(arguments)
    except RefusalError as why:
        for line in str(why).splitlines():
            print(f"so2bench: {line}", file=sys.stderr)
        return 1
    except BrokenPipeError:
        return 1
    except OSError as why:  # the machine refuses a file where no command could say more about it
        name = "" if why.filename is None else f"{_short(str(why.filename))}: "
        print(f"so2bench: {name}{why.strerror or why}", file=sys.stderr)
        return 1
    except ExceptionGroup as several:
        if several.split(BrokenPipeError)[1] is not None:
            raise
        return 1
    except KeyboardInterrupt:
        print("so2bench: ended before it was done", file=sys.stderr)
        return INTERRUPTED
    return 0


def _short(name: str) -> str:
    return name if len(name) <= NAME_SHOWN else f"{name[:NAME_SHOWN]}…"


def _replay(a: argparse.Namespace) -> None:
    from monitor import replay
    from monitor.settings import load_bench, load_run

    bench, _ = load_bench(a.bench)
    run, _ = load_run(a.run)
    if replay.is_run_log(a.recording):
        other = replay.other_settings(a.recording, bench, run)
        if other:
            print(f"so2bench: {other}", file=sys.stderr)
        live, tally = replay.replay_log(a.recording, bench, run, _progress)
    else:
        live, tally, skipped = replay.replay_text(a.recording, bench, run)
        if skipped.lines:
            print(
                f"so2bench: {a.recording}: {skipped.lines} lines without a time were skipped, the first is line "
                f"{skipped.first}",
                file=sys.stderr,
            )
    got = replay.summary(live, tally)
    if a.json:
        print(json.dumps(got, indent=2, allow_nan=False))
    else:
        from monitor.plain import replay_lines

        print("\n".join(replay_lines(got)))


def _progress(part: float) -> None:
    if sys.stderr.isatty():
        print(f"\rreplaying {part:4.0%}", end="" if part < 1.0 else "\n", file=sys.stderr, flush=True)


def _default_log(name: str) -> Path:
    return Path(f"{datetime.now(UTC):%Y%m%d-%H%M%S}-{name}.so2log")


def _watch(a: argparse.Namespace) -> None:
    from monitor.edges.port import SerialPort
    from monitor.settings import load_bench, load_run

    bench, bench_toml = load_bench(a.bench)
    run, run_toml = load_run(a.run)
    path, baud = a.port or bench.port.path, bench.port.baud
    log = a.log or _default_log(bench.name)
    # A new run needs its line from the beginning; one taken up again waits for it.
    port = None if log.exists() else SerialPort(path, baud)
    _run(log, bench, bench_toml, run, run_toml, lambda: SerialPort(path, baud), port, a)


def _demo(a: argparse.Namespace) -> None:
    from monitor.demo import demo_bench
    from monitor.edges.port import SerialPort

    with demo_bench(speed=a.speed, firmware=a.firmware, route=a.route, meter=a.meter) as rig:
        print(f"The bench is simulated and its data are invented. {CAUTION}")
        log = a.log or _default_log("demo")
        _run(
            log,
            rig.bench,
            rig.bench_toml,
            rig.run,
            rig.run_toml,
            lambda: SerialPort(rig.port, rig.bench.port.baud),
            SerialPort(rig.port, rig.bench.port.baud),
            a,
            tasks=(rig.act,),
            speed=a.speed,
        )


def _run(
    log: Path,
    bench: Any,
    bench_toml: str,
    run: Any,
    run_toml: str,
    opener: Any,
    port: Any,
    a: argparse.Namespace,
    tasks: tuple[Any, ...] = (),
    speed: float = 1.0,
) -> None:
    from monitor.core.requests import make_request
    from monitor.edges.lines import Lines
    from monitor.edges.mqtt_broker import broker_of
    from monitor.edges.page import Page, reach_of
    from monitor.edges.supervisor import Supervisor
    from monitor.pagewatch import keep_page
    from monitor.service import Service, begin

    reach = reach_of(a.page_host)
    broker = None if bench.mqtt is None else broker_of(bench.mqtt)
    with ExitStack() as ended:
        # Told to end while it is still making ready, which may take minutes, it leaves no page behind.
        for number in ending_signals():
            ended.callback(signal.signal, number, signal.signal(number, signal.default_int_handler))
        page = None
        if not a.no_dashboard:  # before the log: a page that is refused leaves none of a run that never was
            page = Page(log, a.page_port, secret_names(bench), reach)
            ended.callback(page.close)
        begun = begin(log, bench, bench_toml, run, run_toml, speed)
        lines = Lines(sys.stdout, run.route)
        supervisor = Supervisor()
        for close in (supervisor.close, lines.close):
            ended.callback(close)
        service = Service(begun, opener, (lines, supervisor), port, broker, needs_check=True)
        print(f"run log: {log}", flush=True)
        if page is not None:
            print(f"page: {page.url}   ({for_whom(a.page_host)}; Ctrl-C ends watching)", flush=True)

        def note(text: str) -> None:
            service.ask(make_request("note", "so2bench", {"text": text}))

        async def live() -> None:
            loop = asyncio.get_running_loop()
            for number in ending_signals():
                loop.add_signal_handler(number, service.stop)
            kept = () if page is None else (lambda: keep_page(page, note),)
            await service.watch(*(lambda task=task: task(service) for task in tasks), *kept)

        asyncio.run(live())
