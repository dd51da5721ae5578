"""
The process that captures: it opens one microphone, and passes on what PortAudio calls back with.

Nothing heavy is imported here, for this process is thrown away and started anew whenever the microphone is
lost: PortAudio's list of devices is made when it starts, and frozen. `monitor.sources` is the other side.
"""
