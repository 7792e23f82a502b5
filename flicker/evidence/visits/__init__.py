"""Visits months apart: is it worse than in spring?

`over_visits` composes, `growth` tests rates over visits, `levels` the settled level.
"""
