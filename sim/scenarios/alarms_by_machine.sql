-- Alarms by machine and rule, over all joints of a fleet that `--parquet fleet` wrote. For DuckDB:
--     duckdb < alarms_by_machine.sql
-- Folders that the WHERE leaves out are not opened.
SELECT machine, rule, count(*) AS alarms
FROM read_parquet('fleet/alarms/**/*.parquet', hive_partitioning = true)
WHERE day >= '2026-03-01' AND severity <> 'advise'
GROUP BY machine, rule
ORDER BY alarms DESC, machine, rule;
