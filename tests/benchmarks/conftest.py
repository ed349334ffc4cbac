"""Benchmarks are commands, which import each other from their own folder: they hold no tests and no examples."""

collect_ignore_glob = ["*.py"]
