"""What the keepers do and read: feeding, looks past the jars, loggers, pH probes, when a jar passes, the log book."""
