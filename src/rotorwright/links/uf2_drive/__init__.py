"""A bootloader that shows itself as a drive and takes UF2 files (the open UF2 specification)."""
