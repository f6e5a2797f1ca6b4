"""Pages of the outbox, its channels, the texts and the law, and what gateways and mail services
post to."""
