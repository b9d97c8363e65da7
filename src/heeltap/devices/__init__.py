"""What is plugged in: MIDI ports real and fake, and the computer keyboard as a pad."""
