"""From results to what people look at: charts, the report, notebooks."""
