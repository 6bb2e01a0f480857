"""What Windows, macOS and Linux do differently, and nothing else: files, signals, keys, processes, devices.

The lowest floor: `acquire`, `drivers` and `sim` stand on it, and none of them asks which system it is on.
Each module decides that once, when it is imported.
"""
