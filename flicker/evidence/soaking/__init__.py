"""How long must it be logged? `plan` composes the answer, `rate` says what is known beforehand and counts power cycles."""
