"""How long must it be logged? `plan` composes the answer, `rate` says what is known beforehand, `cycles` counts power-ups."""
