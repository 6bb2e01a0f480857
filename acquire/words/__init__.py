"""All sentences that people read, made from records' codes and fields: the one catalogue.

Outlets, page, papers and commands call it; the computing rooms must not, and nothing reads a sentence back.
"""
