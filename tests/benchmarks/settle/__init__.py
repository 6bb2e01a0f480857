"""The settle benchmark: simulated contacts with a known truth, a scorer, baselines and the product's
filter.

`python -m tests.benchmarks.settle` generates, runs, scores and prints one table. Nothing here was
recorded from a real meter: shares of creep, slips and wrong pins, noise levels and filters are
assumptions written down in `meters.py` and `hands.py`. Rates rank algorithms and show how they fail;
they do not predict a workshop's rates.
"""
