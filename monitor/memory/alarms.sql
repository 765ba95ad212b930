-- Alarms by cause: how often each was raised, how long it stood, how long until it was first acknowledged. Of each
-- bench if $by_bench, of each month if $by_month (of $zone); $since_s: Unix seconds, by the raising.
SELECT tag, priority, CASE WHEN $by_bench THEN bench END AS bench,
    CASE WHEN $by_month THEN strftime(timezone($zone, to_timestamp(raised_utc_s)), '%Y-%m') END AS month,
    count(*) AS raised, sum(stood_s) / 3600.0 AS stood_h, max(stood_s) / 60.0 AS longest_min,
    count(*) FILTER (returned_s IS NULL) AS standing_at_end,
    avg(acknowledged_s - raised_s) AS mean_to_acknowledge_s, max(acknowledged_s - raised_s) AS longest_to_acknowledge_s,
    count(*) FILTER (acknowledged_s IS NULL) AS never_acknowledged
FROM raised WHERE raised_utc_s >= $since_s GROUP BY ALL ORDER BY raised DESC, tag, priority, bench, month
