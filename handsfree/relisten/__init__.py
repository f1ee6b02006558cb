"""Stored sounds heard again with the recognizers as they are now.

`tasks` is what goes to a worker and comes back, `hearing` what a worker does, `spread` and
`cluster` where it is done, `results` what is kept of it as it comes, `compare` what it would
change, `job` all of it together.
"""
