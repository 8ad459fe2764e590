"""What is read from and written to files: text safely, fields checked, spectra, cloths."""
