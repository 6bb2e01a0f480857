"""Match -> Verdict: inside its limits, how sure, which fault?"""
