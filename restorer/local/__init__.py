"""What runs on the own machine: PostgreSQL, the processes side by side, the catchers of mail and
text messages."""
