"""Keep a collection of living sourdough cultures: from feeding logs to the list of those that slip."""
