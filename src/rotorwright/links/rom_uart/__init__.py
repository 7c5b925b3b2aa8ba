"""The ROM bootloader of the microcontroller on its UART, by ST application note AN3155."""
