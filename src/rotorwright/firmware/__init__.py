"""What will be written: image formats, microcontrollers, boards, fit. Pure: no port, no file, no clock."""
