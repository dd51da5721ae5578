"""Everything that touches the world: microphone, files, screen, clock."""
