"""How heeltap measures your gear: delays, a microphone, a self-test, a clock from another device."""
