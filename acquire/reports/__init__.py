"""What leaves the shop on paper and as files, made from the record alone."""
