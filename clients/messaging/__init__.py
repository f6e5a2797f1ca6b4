"""Everything said to clients and heard from them:
the outbox, its channels, what comes in, the law and the texts."""
