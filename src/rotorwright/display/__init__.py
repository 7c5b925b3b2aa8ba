"""On-screen display characters: read, compare. Pure: no port, no file, no clock."""
