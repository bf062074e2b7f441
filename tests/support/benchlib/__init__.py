"""tests/bench: the daemon beside pgbench on the same data in one run."""
