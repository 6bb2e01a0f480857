"""What people write: bench files, their tables, where shipped files are; every fault told by line."""
