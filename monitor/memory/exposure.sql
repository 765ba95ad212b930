-- Exposure by person and ISO week. Doses at the sensor, added up over all of a person's runs; the 8-hour average is
-- the highest of those that end in the week, to the minute, over all runs. Where no name was typed it is that of one
-- bench: several benches without a name are no one person. $zone: whose weeks; $since_s: Unix seconds.
WITH minute AS (
    SELECT coalesce(person, '') AS person, CASE WHEN person IS NULL THEN bench END AS alone, run,
        CAST(floor(utc_s / 60) AS BIGINT) AS minute, sum(dose_ppm_h) AS dose_ppm_h, sum(step_s) AS step_s,
        sum(unknown_step_s) AS unknown_step_s, max(own_stel_ppm) AS stel_ppm
    FROM exposure WHERE utc_s >= $since_s - 28800.0 GROUP BY ALL
), average AS (
    SELECT *, greatest(0.0, sum(dose_ppm_h) OVER shift / 8.0) AS twa_ppm FROM minute
    WINDOW shift AS (PARTITION BY person, alone ORDER BY minute RANGE BETWEEN 479 PRECEDING AND CURRENT ROW)
)
SELECT person, strftime(timezone($zone, to_timestamp(60 * minute)), '%G-W%V') AS week,
    max(stel_ppm) AS stel_max_ppm, max(twa_ppm) AS twa_max_ppm, sum(dose_ppm_h) AS dose_ppm_h,
    sum(step_s) / 3600.0 AS watched_h, sum(unknown_step_s) / 3600.0 AS unknown_h, count(DISTINCT run) AS runs
FROM average WHERE 60 * minute >= $since_s GROUP BY ALL ORDER BY week, person
