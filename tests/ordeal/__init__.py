"""The ordeal: senders and database are killed while mail goes out, and a rude mail server keeps the
true count."""
