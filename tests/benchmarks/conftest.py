"""Only the test is collected: the benchmarks load peers that nobody else needs."""

collect_ignore_glob = ["[!t]*.py"]
