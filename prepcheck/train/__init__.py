"""Training of the surface model: data, fit, calibration, export, card (needs the extra ``train``)."""
