"""Reading -> Settled: is it at rest?"""
