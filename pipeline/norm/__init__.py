"""The norm: what each symbol of ISOM 2017-2 is called, how big it is drawn, how small it may be."""
