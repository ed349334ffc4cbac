"""The bench sheets of a round: who is fed what, in which order, and what to expect."""
