"""What is kept: store, journal, snapshots on disk, release books."""
