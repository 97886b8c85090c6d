"""Worked derivations: how each figure of a site comes about, step by step, to follow by hand."""
