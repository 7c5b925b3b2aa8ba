"""Stage prove on the bench: what is streamed goes into a record, the pure checks judge it, the journal keeps it."""
