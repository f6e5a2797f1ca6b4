"""Letters: addresses in a window, one PDF a batch, posted by people."""
