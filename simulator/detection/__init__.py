"""How soon losses of a main drain are told, and how often one is told that is none: by the year.

The guard's observer and detector run alone, over level and flow of hundreds of boxes at once, which
a formula of this folder makes: `python -m simulator.detection`.
"""
