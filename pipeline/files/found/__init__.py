"""What people found on foot, on disk: notes, walks, photos, marks."""
