"""The demo: an invented house with its people, papers and files as they keep them, and the page of its truths."""
