"""The mapper's language: what is printed on the sheet, with numbers, dates and plurals as that language writes them."""
