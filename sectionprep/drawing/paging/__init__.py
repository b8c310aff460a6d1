"""Where lines and pages break."""
