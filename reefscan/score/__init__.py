"""Terms to a score, an order, reasons, and what a grid cannot show: tables in, tables out."""
