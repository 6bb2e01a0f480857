"""Pure formulas over floats in SI units, each with its source."""
