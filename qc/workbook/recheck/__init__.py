"""The results workbook: the data of a batch with live formulas for every figure of every test of single units."""
