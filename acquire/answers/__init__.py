"""What the commands answer, as lines of text or plain facts; the commands themselves only print it."""
