"""The trade's sums: what the records of one horse mean together.

Pure functions over a `history.History`. Nothing here diagnoses: a number outside a published
limit is described, with the source of the limit.
"""
