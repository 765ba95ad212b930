-- The run log, format 2: one SQLite file a run, readable without this tool.
-- Times: t_s, mono_s are seconds since the run began; utc_s is Unix seconds. Amounts in mol, k = 1 uncertainties.
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;
-- Everything that went in, raw: replaying it gives the run again. kind: bytes | request (JSON).
CREATE TABLE input (
    id INTEGER PRIMARY KEY, mono_s REAL NOT NULL, utc_s REAL NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('bytes', 'request')), data BLOB NOT NULL
) STRICT;
-- Ten a second. A value that must not be believed is NULL and its *_why says why.
CREATE TABLE sample (
    id INTEGER PRIMARY KEY, t_s REAL NOT NULL, drops INTEGER NOT NULL, rejects INTEGER NOT NULL,
    plate_c REAL, plate_why TEXT, cold_c REAL, gas_ppm REAL, gas_at_least_ppm REAL, gas_why TEXT,
    gas_span INTEGER NOT NULL, io INTEGER NOT NULL
) STRICT;
CREATE INDEX sample_t ON sample (t_s);
CREATE TABLE account (
    id INTEGER PRIMARY KEY, t_s REAL NOT NULL, drops INTEGER NOT NULL, acid_ml REAL NOT NULL,
    generated_mol REAL NOT NULL, held_mol REAL NOT NULL, delivered_mol REAL NOT NULL, locked_mol REAL NOT NULL,
    u_generated_mol REAL NOT NULL, u_held_mol REAL NOT NULL, u_delivered_mol REAL NOT NULL, u_locked_mol REAL NOT NULL
) STRICT;
-- Weighings, and the step that the account made by each; an undoing is a row of its own. Volumes: of a drop or bubble.
CREATE TABLE correction (
    id INTEGER PRIMARY KEY, t_s REAL NOT NULL, who TEXT NOT NULL, what TEXT NOT NULL, grams REAL NOT NULL,
    u_g REAL NOT NULL, weighed_mol REAL NOT NULL, u_weighed_mol REAL NOT NULL, delivered_before_mol REAL NOT NULL,
    u_before_mol REAL NOT NULL, delivered_after_mol REAL NOT NULL, u_after_mol REAL NOT NULL,
    volume_before_ul REAL, u_volume_before_ul REAL, volume_after_ul REAL, u_volume_after_ul REAL
) STRICT;
CREATE TABLE exposure (
    t_s REAL PRIMARY KEY, stel_ppm REAL NOT NULL, stel_max_ppm REAL NOT NULL, stel_unknown_s REAL NOT NULL,
    twa_ppm REAL NOT NULL, unknown_s REAL NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE alarm (
    id INTEGER PRIMARY KEY, t_s REAL NOT NULL, utc_s REAL NOT NULL, tag TEXT NOT NULL, priority TEXT NOT NULL,
    before TEXT NOT NULL, after TEXT NOT NULL, cause TEXT NOT NULL, who TEXT NOT NULL, detail TEXT NOT NULL
) STRICT;
CREATE TABLE permit (id INTEGER PRIMARY KEY, t_s REAL NOT NULL, is_on INTEGER NOT NULL, why TEXT NOT NULL) STRICT;
CREATE TABLE phase (id INTEGER PRIMARY KEY, t_s REAL NOT NULL, phase TEXT NOT NULL, who TEXT NOT NULL) STRICT;
CREATE TABLE note (id INTEGER PRIMARY KEY, t_s REAL NOT NULL, what TEXT NOT NULL, text TEXT NOT NULL) STRICT;
CREATE TABLE answer (
    id INTEGER PRIMARY KEY, t_s REAL NOT NULL, request_id TEXT NOT NULL, accepted INTEGER NOT NULL, text TEXT NOT NULL
) STRICT;
CREATE TABLE rejected (id INTEGER PRIMARY KEY, t_s REAL NOT NULL, cause TEXT NOT NULL, line BLOB NOT NULL) STRICT;
-- The newest overview, as JSON, replaced every second.
CREATE TABLE overview (id INTEGER PRIMARY KEY CHECK (id = 1), t_s REAL NOT NULL, utc_s REAL NOT NULL, json TEXT NOT NULL) STRICT;
-- The traces in buckets of level_s seconds: least, greatest, sum and count; the account's last in the bucket.
CREATE TABLE roll (
    level_s INTEGER NOT NULL, bucket INTEGER NOT NULL,
    plate_lo REAL, plate_hi REAL, plate_sum REAL NOT NULL, plate_n INTEGER NOT NULL,
    gas_lo REAL, gas_hi REAL, gas_sum REAL NOT NULL, gas_n INTEGER NOT NULL,
    drops INTEGER NOT NULL, delivered_mol REAL, held_mol REAL,
    PRIMARY KEY (level_s, bucket)
) STRICT, WITHOUT ROWID;
