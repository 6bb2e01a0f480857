"""An adversary for the daemon: instrument, hands and circuits that share nothing with it."""
