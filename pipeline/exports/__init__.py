"""The draft in other people's formats: for a GIS, a drawing program, a watch, a phone. No file is opened here."""
