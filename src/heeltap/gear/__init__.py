"""How gear is measured: delays, a microphone, a self-test, a clock that comes from outside."""
