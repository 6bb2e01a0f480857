"""Reading -> Settled: is it at rest?"""

from acquire.settle.filter import SettleFilter
from acquire.settle.settings import Expectation, SettleSettings

__all__ = ["Expectation", "SettleFilter", "SettleSettings"]
