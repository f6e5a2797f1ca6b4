"""Bringing an old client list in: one sheet, one row a job, all of it or nothing."""
