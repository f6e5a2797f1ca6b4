"""What people type about jobs, checked and turned into SI."""
