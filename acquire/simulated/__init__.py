"""The demo: the real daemon before simulated instruments that run as a process of their own."""
