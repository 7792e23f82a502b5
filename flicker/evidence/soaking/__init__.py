"""How long must it be logged? `plan` composes the answer (`model`), `rate` says what is known beforehand and counts power cycles."""
