"""The sentences of findings, a module for each topic of the review; no judgement, no computation."""
