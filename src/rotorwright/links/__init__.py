"""How bytes reach the aircraft: ports, MAVLink, the ROM bootloader on UART and USB."""
