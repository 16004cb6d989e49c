"""Host tools for the readout box: design, check, flash and prove it."""
