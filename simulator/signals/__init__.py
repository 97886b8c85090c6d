"""What stands where the pins stand: contacts, meters, boards."""
