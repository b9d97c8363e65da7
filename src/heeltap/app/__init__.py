"""What you can do with heeltap. The command line and the screens call this and add the words."""
