"""What each failure does in time: every chamber of a site stepped through the rules' hydraulics."""
