"""The list of past runs: each in one line of words, and those that cannot be read with the reason."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import lru_cache
from html import escape
from pathlib import Path
from typing import NamedTuple

from dashboards.words import UNKNOWN, plain, with_uncertainty
from monitor.core.spans import duration
from monitor.edges.logreader import logs_in, written_utc_s
from monitor.errors import RefusalError
from monitor.past import PastRun, past_run

MOST_RUNS = 200  # of a folder, the newest; a longer table serves nobody
# On a telephone a run is a block of lines, each with its name, instead of a line that runs off the side.
STYLE = """<style>
.pastruns { overflow-x: auto; }
.pastruns table { width: 100%; }
.stHtml .pastruns th, .stHtml .pastruns td {
  text-align: left; vertical-align: top; padding: 0.2rem 0.8rem 0.2rem 0; white-space: normal;
}
@media (max-width: 640px) {
  .pastruns thead { display: none; }
  .pastruns tr { display: block; padding: 0.4rem 0; border-bottom: 1px solid #1a1a1a; }
  .stHtml .pastruns th, .stHtml .pastruns td { display: block; border: 0; padding: 0; }
  .stHtml .pastruns td:empty { display: none; }
  .pastruns td::before { content: attr(data-name) ": "; color: #4a463c; }
}
</style>"""
HEAD = ("run", "began (UTC)", "bench", "lasted", "gone over", "planned", "wanted", "alarms", "marks")


class Listed(NamedTuple):
    """A run in the list; `name` is its own in the folder."""

    name: str
    path: Path
    cells: tuple[str, ...]


@lru_cache(maxsize=2 * MOST_RUNS)
def _line(log: Path, written_utc_s: float) -> PastRun:  # noqa: ARG001 - read anew when it was written anew
    return past_run(log)


def listed(folder: Path) -> tuple[list[Listed], list[tuple[str, str]]]:
    """The runs of a folder, newest first, and the files that are none with the reason."""
    runs: list[Listed] = []
    bad: list[tuple[str, str]] = []
    for log in logs_in(folder)[:MOST_RUNS]:
        try:
            runs.append(_listed(_line(log, written_utc_s(log))))
        except RefusalError as why:
            bad.append((log.name, str(why).splitlines()[0].removeprefix(f"{log}: ")))
    return runs, bad


def _listed(run: PastRun) -> Listed:
    mol = UNKNOWN if run.delivered_mol is None else with_uncertainty(run.delivered_mol, run.u_delivered_mol, "mol")
    marks = [word for word, so in (("invented", run.invented), ("not closed", not run.closed)) if so]
    cells = (
        run.title,
        f"{datetime.fromtimestamp(run.start_utc_s, tz=UTC):%Y-%m-%d %H:%M}",
        run.bench,
        duration(run.duration_s),
        mol,
        _mol(run.planned_mol),
        _mol(run.need_mol),
        f"{run.alarms}, {run.high_alarms} high" if run.high_alarms else str(run.alarms),
        ", ".join(marks),
    )
    return Listed(run.path.name, run.path, cells)


def _mol(mol: float | None) -> str:
    return UNKNOWN if mol is None else f"{plain(mol)} mol"


def table_of(runs: list[Listed], bad: list[tuple[str, str]]) -> str:
    """The list as a table; everything from a log is escaped."""
    if not runs and not bad:
        return "<p>There is no run log in this folder.</p>"
    head = "".join(f'<th scope="col">{word}</th>' for word in HEAD)
    rows = "".join(
        f'<tr><th scope="row">{escape(run.cells[0])}<br><small>{escape(run.name)}</small></th>'
        + "".join(
            f'<td data-name="{name}">{escape(cell)}</td>' for name, cell in zip(HEAD[1:], run.cells[1:], strict=True)
        )
        + "</tr>"
        for run in runs
    )
    left_out = "".join(f"<p>{escape(name)} is left out: {escape(why)}</p>" for name, why in bad)
    table = f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
    return f'{STYLE}<div class="pastruns">{table}{left_out}</div>'
