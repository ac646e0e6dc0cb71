"""Areas of forest and open land: which ground they cover, their outlines, and the evidence for them."""
