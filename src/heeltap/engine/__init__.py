"""What must be on time: the process that sends, stamps and records."""
