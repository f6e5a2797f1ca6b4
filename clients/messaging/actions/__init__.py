"""What is done with messages, letters, calls and texts, each one transaction."""
