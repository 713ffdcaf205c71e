"""The hub of many vans, on PostgreSQL: extra `hub`. Nothing but `corekit.cli` imports it."""
