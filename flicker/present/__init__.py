"""From results to what people look at; nothing is decided here.

`terminal/` prints pages, `report/` writes one HTML file, `charts/` draws, `tables` and `results` show results in
notebooks, `notebook` runs one, `schema/` holds the JSON Schemas, `export` writes pictures.
"""
