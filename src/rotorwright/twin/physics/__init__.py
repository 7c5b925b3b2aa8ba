"""The virtual aircraft as a body that moves: hand, rotors, sensor, receiver and battery as functions of time."""
