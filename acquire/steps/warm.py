"""The step that repeats the first resistance."""

from acquire.records.codes import WARM_CHECK

__all__ = ["WARM_CHECK"]
