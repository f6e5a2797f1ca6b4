"""Forms of the reminders app."""
