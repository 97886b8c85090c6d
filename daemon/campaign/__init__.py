"""What a campaign needs of the rules beforehand, and how its result is shown."""
