"""Wavelengths, spectra, lamps; from a spectrum to a colour, a difference, a screen and a word."""
