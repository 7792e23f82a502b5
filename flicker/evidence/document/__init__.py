"""Results as documents and tables: `head` of every document, `rows` without a class, `excursion_table`, and `frames` of pandas."""
