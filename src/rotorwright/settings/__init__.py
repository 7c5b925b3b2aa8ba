"""What must survive: values, catalogue, snapshot, change notes, carry-over. Pure: no port, no file, no clock."""
