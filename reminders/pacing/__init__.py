"""The pacing plan of the book: its question put together, the plan kept, and shown.
The arithmetic is in `core`."""
