"""What the sensors say: spectra, delays, step responses, and the comparison of two flights."""
