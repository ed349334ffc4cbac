"""Which evidence is an alert: thresholds that hold the keeper's dial, found by simulation of healthy shelves."""
