"""What was the lead looking at? Stretches in which it was not a live output, with reasons.

`disconnection` composes the tests, `states` finds power states, `stillness`, `pickup` and `together` hold
one test each, `movement` the features of blocks they share.
"""
