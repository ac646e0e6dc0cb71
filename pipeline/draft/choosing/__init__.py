"""What of the features found is drawn: likely enough, and worth its place among its neighbours."""
