"""The ROM bootloader on USB: DFU 1.1 with the vendor's memory extension (ST AN3156)."""
