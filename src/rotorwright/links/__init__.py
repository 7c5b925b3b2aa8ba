"""How bytes reach the aircraft: ports, MAVLink, the UART ROM bootloader."""
