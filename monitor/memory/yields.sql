-- What each bench planned, delivered and weighed, over its closed runs. A ratio is of sums, over the runs that have
-- both. The expanded uncertainty of a sum takes its parts as going together, the cautious way. Weighed stands beside
-- what the account said just before the weighing. $since_s: Unix seconds; a run counts by its beginning.
WITH pair AS (
    SELECT bench, closed, u_delivered_mol, weighed_mol, closed AND planned_mol IS NOT NULL
        AND delivered_mol IS NOT NULL AS is_planned, closed AND weighed_mol IS NOT NULL AS is_weighed,
        planned_mol, delivered_mol, before_weighing_mol
    FROM run WHERE start_utc_s >= $since_s
)
SELECT bench, count(*) AS runs, count(*) FILTER (NOT closed) AS not_closed, count(*) FILTER (is_planned) AS compared,
    sum(planned_mol) FILTER (is_planned) AS planned_mol, sum(delivered_mol) FILTER (is_planned) AS delivered_mol,
    2.0 * sum(u_delivered_mol) FILTER (is_planned) AS delivered_expanded_uncertainty_mol,
    sum(delivered_mol) FILTER (is_planned) / nullif(sum(planned_mol) FILTER (is_planned), 0.0)
        AS delivered_per_planned,
    count(*) FILTER (is_weighed) AS weighed, sum(weighed_mol) FILTER (is_weighed) AS weighed_mol,
    sum(before_weighing_mol) FILTER (is_weighed) AS before_weighing_mol,
    sum(weighed_mol) FILTER (is_weighed) / nullif(sum(before_weighing_mol) FILTER (is_weighed), 0.0)
        AS weighed_per_before
FROM pair GROUP BY bench ORDER BY bench
