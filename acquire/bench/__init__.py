"""The rim: instruments, keys and network in, the heart in the middle, the journal first."""
