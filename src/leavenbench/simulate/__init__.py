"""Collections with a known truth, for the demo, for tests and for planning."""
