"""The bench page: what an operator sees and hears on a screen across the bench, served by the daemon."""
