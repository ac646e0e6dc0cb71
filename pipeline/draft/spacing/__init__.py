"""Room on paper: symbols moved a little, bent or left out so that what is printed keeps the gaps of the norm."""
