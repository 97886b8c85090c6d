"""What keeps the alarms of a night few: causes that come and go, and how many are raised at all."""
