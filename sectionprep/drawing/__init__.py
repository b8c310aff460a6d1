"""What is drawn: engraved lines as typed ink, laid on pages, painted into PDF. Knows notation, not
the plan."""
