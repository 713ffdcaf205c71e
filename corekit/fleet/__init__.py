"""Questions over all jobs, and what retested jobs teach the fault tables; needs the extra `fleet`.

Only the command line imports it. Nothing below it knows ibis, DuckDB or Parquet.
"""
