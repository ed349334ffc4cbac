"""The keeper's work: feeding arithmetic and the steps of a round."""
