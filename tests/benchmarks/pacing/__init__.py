"""
How fast sound is heard, and what that is measured against.

::

    sounds      made-up cuts, a simulated job of any length, carvings of any size
    yardsticks  what anyone can rerun: the bare transform of the same sound, its mel cepstra
    chain       the whole way, from a recording or a microphone to events
    apart       work in a process of its own, for its memory is its own
    started     how long a command takes to begin
    growth      how costs grow with length and with size
    table       all of it in words
"""
