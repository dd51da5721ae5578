"""Many machines: each announces itself on an MQTT broker, and one command shows them all."""
