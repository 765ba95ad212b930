"""What the memory keeps: its tables and their columns, in one place; how a column is packed, in Parquet's own ways.

Tables that a run log has too hold its columns as they are (edges/SCHEMA.md), with `run` before them; `DERIVED` names
the tables and columns that gathering adds.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import pyarrow

FORMAT: Final = 1  # of the memory; one of another format is refused
GROUP_ROWS: Final = 100_000  # rows of a row group, and the most that are in memory at once

Row = tuple[Any, ...]


class Table(NamedTuple):
    """A table: what it takes from the log (none if it is derived), and every column after `run` with its type."""

    from_log: str | None
    columns: dict[str, pyarrow.DataType]


TEXT, INT, REAL, FLAG, BYTES = (
    pyarrow.string(),
    pyarrow.int64(),
    pyarrow.float64(),
    pyarrow.bool_(),
    pyarrow.binary(),
)


def _columns(text: str = "", real: str = "", **others: pyarrow.DataType) -> dict[str, pyarrow.DataType]:
    return {**dict.fromkeys(text.split(), TEXT), **dict.fromkeys(real.split(), REAL), **others}


_ENTRY = {"id": INT, "t_s": REAL}

TABLES: Final[dict[str, Table]] = {
    "run": Table(
        None,
        {
            **_columns("title route meter log made_by sha256", inputs=INT, start_utc_s=REAL, last_mono_s=REAL),
            **_columns(real="duration_s", closed=FLAG, invented=FLAG, planned_why=TEXT),
            **_columns(
                real="planned_mol need_mol generated_mol held_mol delivered_mol u_delivered_mol "
                "weighed_mol u_weighed_mol before_weighing_mol stel_max_ppm unknown_s"
            ),
            **_columns("bench_toml run_toml"),
        },
    ),
    "sample": Table(
        "sample",
        {
            **_ENTRY,
            **_columns(drops=INT, rejects=INT, plate_c=REAL, plate_why=TEXT, cold_c=REAL, gas_ppm=REAL),
            **_columns(gas_at_least_ppm=REAL, gas_why=TEXT, gas_span=INT, io=INT),
        },
    ),
    "account": Table(
        "account",
        {
            **_ENTRY,
            "drops": INT,
            **_columns(
                real="acid_ml generated_mol held_mol delivered_mol locked_mol "
                "u_generated_mol u_held_mol u_delivered_mol u_locked_mol"
            ),
        },
    ),
    "correction": Table(
        "correction",
        {
            **_ENTRY,
            **_columns(
                "who what",
                "grams u_g weighed_mol u_weighed_mol delivered_before_mol u_before_mol delivered_after_mol "
                "u_after_mol volume_before_ul u_volume_before_ul volume_after_ul u_volume_after_ul",
            ),
        },
    ),
    "exposure": Table(
        None,
        {
            **_columns(real="t_s utc_s stel_ppm stel_max_ppm stel_unknown_s twa_ppm unknown_s"),
            "person": TEXT,
            **_columns(real="step_s unknown_step_s dose_ppm_h own_stel_ppm"),
        },
    ),
    "alarm": Table("alarm", {**_ENTRY, "utc_s": REAL, **_columns("tag priority before after cause who detail")}),
    "raised": Table(
        None,
        {
            **_columns("tag priority", "raised_utc_s raised_s returned_s acknowledged_s stood_s"),
            "acknowledged_by": TEXT,
        },
    ),
    "request": Table(None, {**_ENTRY, **_columns("kind who args")}),
    "permit": Table("permit", {**_ENTRY, "is_on": INT, "why": TEXT}),
    "phase": Table("phase", {**_ENTRY, "phase": TEXT, "who": TEXT}),
    "note": Table("note", {**_ENTRY, "what": TEXT, "text": TEXT}),
    "answer": Table("answer", {**_ENTRY, "request_id": TEXT, "accepted": INT, "text": TEXT}),
    "rejected": Table("rejected", {**_ENTRY, "cause": TEXT, "line": BYTES}),
}


def schema_of(table: str) -> pyarrow.Schema:
    """The columns of a table as its files have them."""
    return pyarrow.schema([("run", TEXT), *TABLES[table].columns.items()])


def packing_of(table: str) -> dict[str, Any]:
    """How the columns of a table are packed: the writer's arguments.

    Times, counts and the account hardly repeat a value, and each is close to the one before: their differences, or
    their bytes in strands, pack best. What comes from a sensor takes few values: a dictionary. All without loss.
    """
    encoding: dict[str, str] = {}
    for name, kind in TABLES[table].columns.items():
        if kind == INT and name in ("id", "drops"):
            encoding[name] = "DELTA_BINARY_PACKED"
        elif kind == REAL and (name.endswith("_mol") or name in ("t_s", "utc_s", "acid_ml", "dose_ppm_h")):
            encoding[name] = "BYTE_STREAM_SPLIT"
    plain = [name for name in schema_of(table).names if name not in encoding]
    return {"compression": "zstd", "use_dictionary": plain, "column_encoding": encoding}
