"""What an estimate of hours reads beside the draft."""
