"""Console dialects: how a text console prints and takes settings, as data. Pure: texts in, values out."""
