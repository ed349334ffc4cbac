"""What was written down: read it, check it, place it in rounds."""
