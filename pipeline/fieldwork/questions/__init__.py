"""What there is to ask on foot: which features are in doubt, how much each matters, which can be asked in one place."""
