"""ISOM section 3.5: what people made (black)."""
