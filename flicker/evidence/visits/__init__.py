"""Visits months apart: is it worse than in spring?

`visited` groups logs and holds the results, `over_visits` composes, `growth` tests rates, `levels` the settled level.
"""
